import * as text from "#text/benchScreen.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import type { BenchFigureView, BenchRunView } from "../../server/contract/benchView.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { acceptFeeder } from "../state/home.ts";
import { localDate, timeText } from "../text/clock.ts";
import { numberText } from "../text/format.ts";
import { FormError, useFormSubmit } from "./field.tsx";

interface ResultProps {
  readonly run: BenchRunView;
  readonly earlier: readonly BenchRunView[];
  readonly feeder: FeederView;
  readonly yard: YardView;
  readonly portionGrams: number | null;
}

/** How a bench run came out: the verdict, why, and all figures. Made for paper too. */
export function BenchResult({ run, earlier, feeder, yard, portionGrams }: ResultProps) {
  // The whole date: on paper, "yesterday" means nothing.
  const moment = (at: string) => text.dateText(localDate(Date.parse(at), yard.zone), timeText(at, yard.zone));
  return (
    <section class="bench-result" aria-labelledby="bench-result">
      <h2 id="bench-result">{text.resultTitle}</h2>
      <p class={`bench-verdict ${run.verdict}`}>{run.verdictText}</p>
      <Reasons figures={run.figures} />
      <p class="hint">
        {text.metaText(moment(run.startedAt), run.requestedBy)} {run.ended?.text}
      </p>
      {yard.role === "keeper" && run.portionGrams !== null && (
        <UsePortion grams={run.portionGrams} known={portionGrams} feeder={feeder} />
      )}
      <h3>{text.figuresTitle}</h3>
      <BenchFigures figures={run.figures} />
      <p class="hint">{text.limitsText}</p>
      <div class="actions">
        <button type="button" onClick={() => window.print()}>
          {text.printLabel}
        </button>
      </div>
      {earlier.length > 0 && (
        <details>
          <summary>{text.earlierTitle}</summary>
          <ul>
            {earlier.map((each) => (
              <li key={each.id}>{text.earlierText(moment(each.startedAt), each.verdictText ?? "")}</li>
            ))}
          </ul>
        </details>
      )}
    </section>
  );
}

/** What is wrong first, then what is not known. */
function Reasons({ figures }: { readonly figures: readonly BenchFigureView[] }) {
  const of = (status: BenchFigureView["status"]) => figures.filter((figure) => figure.status === status);
  const reasons = [...of("notMet"), ...of("notKnown")];
  return reasons.length === 0 ? null : (
    <ul class="bench-reasons">
      {reasons.map(({ label, status, value, reason }) => (
        <li key={label} class={status}>
          {text.reasonText(label, value.replace(/\.$/, ""), reason ?? "")}
        </li>
      ))}
    </ul>
  );
}

export const BenchFigures = ({ figures }: { readonly figures: readonly BenchFigureView[] }) => (
  <dl class="bench-figures">
    {figures.map(({ label, status, value, limit, reason, before }) => (
      <div key={label}>
        <dt>
          {label} <strong class={`bench-status ${status}`}>{text.figureStatus[status]}</strong>
        </dt>
        <dd>
          {value}
          {reason !== null && status !== "met" && reason !== value && <p>{reason}</p>}
          {limit !== null && <p class="hint">{text.limitText(limit)}</p>}
          {before !== null && <p class="hint">{text.beforeText(before.value, text.figureStatus[before.status])}</p>}
        </dd>
      </div>
    ))}
  </dl>
);

/** Only the keeper changes what a portion weighs. */
function UsePortion(props: { readonly grams: number; readonly known: number | null; readonly feeder: FeederView }) {
  const { grams, known, feeder } = props;
  const { sending, formError, send } = useFormSubmit();
  const shown = numberText(grams, 2);
  const use = async () => {
    const changed = await send(() => laterApi.changeFeeder(feeder.id, { portionGrams: grams }));
    if (changed === null) return;
    acceptFeeder(changed);
    announce(text.portionUsedText(shown));
  };
  if (known !== null && Math.abs(known - grams) < 0.005) return <p>{text.portionSameText}</p>;
  return (
    <div class="bench-portion">
      <FormError text={formError} />
      <p>{known === null ? text.usePortionUnsetText(shown) : text.usePortionText(shown)}</p>
      <div class="actions">
        <button type="button" disabled={sending} onClick={() => void use()}>
          {text.usePortionLabel(shown)}
        </button>
      </div>
    </div>
  );
}
