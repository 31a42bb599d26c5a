import { useState } from "preact/hooks";
import * as text from "#text/benchScreen.ts";
import { feederNotFoundText, onlyKeepersText } from "#text/screens.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import type { BenchRequest } from "../../server/contract/benchRequest.ts";
import type { BenchView } from "../../server/contract/benchView.ts";
import { laterApi } from "../api/laterApi.ts";
import { BenchProgress } from "../components/benchProgress.tsx";
import { BenchResult } from "../components/benchResult.tsx";
import { FormError, NumberField, readNumber, useFormSubmit } from "../components/field.tsx";
import { LinkedText } from "../components/linkedText.tsx";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { newId } from "../state/actions.ts";
import { announce } from "../state/announcement.ts";
import { findFeeder } from "../state/home.ts";
import { notFoundScreen } from "./notFound.tsx";

/** The bench run of a feeder: what to do now, how it came out, and a new one. */
export function BenchScreen(props: { readonly id: string }) {
  const found = findFeeder(props.id);
  if (found === null) return notFoundScreen(text.notFoundTitle, feederNotFoundText);
  const { feeder, yard } = found;
  return (
    <Screen
      title={text.title(feeder.name)}
      practice={feeder.practice}
      back={{ href: `/feeders/${feeder.id}`, name: feeder.name }}
    >
      <Bench key={feeder.id} feeder={feeder} yard={yard} />
    </Screen>
  );
}

function Bench({ feeder, yard }: { readonly feeder: FeederView; readonly yard: YardView }) {
  const [view, setView] = useState<BenchView | null>(null);
  useLoad(
    async () => {
      const result = await laterApi.bench(feeder.id);
      if (result.kind === "ok") setView(result.value);
      return result;
    },
    [feeder.id, feeder.revision],
    view === null ? 0 : reloadAfterMs,
  );
  if (view === null) return null;
  const isKeeper = yard.role === "keeper";
  const [last, ...earlier] = view.past;
  if (view.current !== null) {
    return (
      <>
        <BenchProgress run={view.current} feeder={feeder} zone={yard.zone} isKeeper={isKeeper} onChange={setView} />
        {!isKeeper && <p class="hint">{onlyKeepersText(yard.name)}</p>}
      </>
    );
  }
  return (
    <>
      {last === undefined ? (
        <>
          <p>{text.introText(feeder.name)}</p>
          <p class="empty">{text.neverRunText}</p>
        </>
      ) : (
        <BenchResult run={last} earlier={earlier} feeder={feeder} yard={yard} portionGrams={view.portionGrams} />
      )}
      {isKeeper ? (
        <StartForm feeder={feeder} view={view} isRepeat={last !== undefined} onChange={setView} />
      ) : (
        <p class="hint">{onlyKeepersText(yard.name)}</p>
      )}
    </>
  );
}

/** Several reports in a row cause one request. */
const reloadAfterMs = 400;

interface StartProps {
  readonly feeder: FeederView;
  readonly view: BenchView;
  readonly isRepeat: boolean;
  readonly onChange: (view: BenchView) => void;
}

function StartForm({ feeder, view, isRepeat, onChange }: StartProps) {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const [run] = useState(newId); // sent again after a lost answer it is the same run
  const start = async (event: SubmitEvent) => {
    event.preventDefault();
    const started = await send(() => laterApi.changeBench(feeder.id, readStart(form.current as HTMLFormElement, run)));
    if (started === null) return;
    onChange(started);
    announce(text.startedText);
  };
  return (
    <section class="bench-start" aria-labelledby="bench-start">
      <h2 id="bench-start">{isRepeat ? text.againTitle : text.startTitle}</h2>
      <h3>{text.cautionsTitle}</h3>
      <ul>
        {text.cautions.map((caution) => (
          <li key={caution}>
            <LinkedText text={caution} hrefs={["/cautions"]} />
          </li>
        ))}
      </ul>
      <p>{text.quietAlarmsText}</p>
      {view.problem !== null && <p class="notice warning">{view.problem}</p>}
      <form ref={form} onSubmit={(event) => void start(event)} noValidate>
        <FormError text={formError} />
        <StartFields fitted={view.fitted} problems={problems} />
        <div class="actions">
          <button type="submit" class="main" disabled={sending || view.problem !== null}>
            {text.startLabel}
          </button>
        </div>
      </form>
    </section>
  );
}

function StartFields(props: {
  readonly fitted: BenchView["fitted"];
  readonly problems: Readonly<Record<string, string>>;
}) {
  const { fitted, problems } = props;
  const field = (name: string) => ({ name, problem: problems[`what.${name}`] });
  const acts = { hint: text.actsHint, min: 0, max: 50, whole: true, value: 30 };
  return (
    <>
      <NumberField
        {...field("quietMinutes")}
        {...{ label: text.quietLabel, hint: text.quietHint, unit: text.minutesUnit, min: 0, max: 60, value: 2 }}
      />
      <NumberField
        {...field("portions")}
        {...{ label: text.portionsLabel, hint: text.portionsHint, unit: text.portionsUnit }}
        {...{ min: 0, max: 100, whole: true, value: 60 }}
      />
      {fitted.detector && <NumberField {...field("caps")} {...acts} label={text.capsLabel} unit={text.capsUnit} />}
      {fitted.button && (
        <NumberField {...field("presses")} {...acts} label={text.pressesLabel} unit={text.pressesUnit} />
      )}
      {fitted.scale && (
        <NumberField
          {...field("knownGrams")}
          {...{ label: text.knownGramsLabel, hint: text.knownGramsHint, unit: text.gramsUnit }}
          {...{ min: 0, max: 20_000, value: undefined }}
        />
      )}
      <NumberField
        {...field("soakHours")}
        {...{ label: text.soakLabel, hint: text.soakHint, unit: text.hoursUnit, min: 0, max: 72, value: 8 }}
      />
    </>
  );
}

/** A field that isn't there, or is empty, leaves its step out. */
function readStart(form: HTMLFormElement, run: string): BenchRequest {
  const data = new FormData(form);
  const count = (name: string) => readNumber(data, name) ?? 0;
  return {
    run,
    what: {
      kind: "start",
      quietMinutes: count("quietMinutes"),
      portions: count("portions"),
      caps: count("caps"),
      presses: count("presses"),
      knownGrams: readNumber(data, "knownGrams") ?? null,
      soakHours: count("soakHours"),
    },
  };
}
