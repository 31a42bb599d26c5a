import { useState } from "preact/hooks";
import { acknowledgeLabel, practiceLabel } from "#text/common.ts";
import * as text from "#text/homeRow.ts";
import { pauseLabel } from "#text/order.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { HopperIcon } from "../charts/hopperIcon.tsx";
import { MarkIcon, PriorityIcon } from "../charts/icons.tsx";
import { acknowledgeNow, isPausing, pauseNow } from "../state/acts.ts";
import { highestPriority, priorityText } from "../text/alarm.ts";
import type { PageState } from "../text/feeder.ts";
import { heardText, type Mark, nextAct, rowLine, rowMarks, shelvedCount } from "../text/feederRow.ts";
import type { FeederOrderText } from "../text/yardOrder.ts";

interface RowProps {
  readonly feeder: FeederView;
  readonly yard: YardView;
  readonly page: PageState;
  readonly order: FeederOrderText | null;
  readonly isGrouped: boolean; // its alarm is shown above, with those of the other feeders
}

/** One feeder of the first page. The whole row opens it; the button beside it does the next thing. */
export function FeederRow({ feeder, yard, page, order, isGrouped }: RowProps) {
  const priority = isGrouped ? null : highestPriority(feeder);
  const heard = heardText(feeder, page);
  return (
    <li class={`feeder-entry${priority === null ? "" : ` ${priority}`}`}>
      <HopperIcon hopper={feeder.hopper} />
      <div class="row-text">
        <h3>
          <a href={`/feeders/${feeder.id}`}>{feeder.name}</a>
          {feeder.practice && <span class="hidden">, {practiceLabel}</span>}
          {rowMarks(feeder, page.now, isGrouped).map((mark) => (
            <MarkText key={mark} mark={mark} feeder={feeder} />
          ))}
        </h3>
        <p class="row-line">
          {order !== null && (
            <>
              <span class={order.needsAttention ? "warning" : undefined}>{order.text}</span>
              {" · "}
            </>
          )}
          <span>{rowLine(feeder, page)}</span>
          {heard !== null && (
            <span class="heard">
              {" · "}
              <span class="hidden">{text.lastReportLabel}</span>
              {heard}
            </span>
          )}
        </p>
      </div>
      {!isGrouped && <NextActButton feeder={feeder} yard={yard} />}
    </li>
  );
}

/** A drawing and a word, so that nothing is told by colour alone. */
function MarkText({ mark, feeder }: { readonly mark: Mark; readonly feeder: FeederView }) {
  if (mark === "urgent" || mark === "soon") {
    return (
      <span class={`feeder-mark ${mark}`}>
        <PriorityIcon priority={mark} /> <span>{priorityText[mark]}</span>
      </span>
    );
  }
  return (
    <span class={`feeder-mark ${mark}`}>
      <MarkIcon mark={mark} />{" "}
      <span>{mark === "shelved" ? text.shelvedMark(shelvedCount(feeder)) : text.marks[mark]}</span>
    </span>
  );
}

function NextActButton({ feeder, yard }: { readonly feeder: FeederView; readonly yard: YardView }) {
  const [busy, setBusy] = useState(false);
  const act = nextAct(feeder, yard.diseaseNotice !== null || isPausing(feeder));
  if (act === null) return null;
  const ofFeeder = <span class="hidden"> {feeder.name}</span>;
  if (act.kind === "refill") {
    return (
      <a class="button next-act" href={`/feeders/${feeder.id}/refill`}>
        {text.refillLabel}
        {ofFeeder}
      </a>
    );
  }
  const perform = async () => {
    setBusy(true);
    await (act.kind === "pause" ? pauseNow(feeder) : acknowledgeNow(feeder, act.alarm));
    setBusy(false);
  };
  return (
    <button type="button" class="next-act" disabled={busy} onClick={() => void perform()}>
      {act.kind === "pause" ? pauseLabel : acknowledgeLabel}
      {ofFeeder}
    </button>
  );
}
