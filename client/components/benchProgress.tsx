import { useEffect, useRef, useState } from "preact/hooks";
import * as text from "#text/benchScreen.ts";
import type { FeederView } from "../../server/contract/api.ts";
import type { BenchRequest } from "../../server/contract/benchRequest.ts";
import type { BenchRunView, BenchStepView, BenchView } from "../../server/contract/benchView.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { momentText } from "../text/clock.ts";
import { BenchFigures } from "./benchResult.tsx";
import { FormError, NumberField, readNumber, useFormSubmit } from "./field.tsx";

interface ProgressProps {
  readonly run: BenchRunView;
  readonly feeder: FeederView;
  readonly zone: string;
  readonly isKeeper: boolean;
  readonly onChange: (view: BenchView) => void;
}

/** A bench run that is under way: what to do now, in words that can be read from beside the feeder. */
export function BenchProgress(props: ProgressProps) {
  const { run, feeder, zone, isKeeper, onChange } = props;
  const step = run.steps.find(({ status }) => status === "now");
  return (
    <>
      {step !== undefined && (
        <section class="bench-now" aria-labelledby="bench-now">
          <NowHeading step={step} />
          <p class="bench-now-text">{nowText(step, zone)}</p>
          <StepCount step={step} feeder={feeder} />
          {isKeeper && <StepForm key={step.kind} run={run} step={step} feeder={feeder} onChange={onChange} />}
        </section>
      )}
      <Steps steps={run.steps} />
      {isKeeper && <StopControl run={run} feeder={feeder} onChange={onChange} />}
      <details>
        <summary>{text.soFarTitle}</summary>
        <BenchFigures figures={run.figures} />
      </details>
    </>
  );
}

/** Whoever pressed "Done" goes on here with the keyboard, and a screen reader reads it out. */
function NowHeading({ step }: { readonly step: BenchStepView }) {
  const heading = useRef<HTMLHeadingElement>(null);
  const shown = useRef(step.kind);
  useEffect(() => {
    if (shown.current !== step.kind) heading.current?.focus({ preventScroll: true });
    shown.current = step.kind;
  }, [step.kind]);
  return (
    <h2 id="bench-now" ref={heading} tabIndex={-1} aria-live="polite">
      {nowHeading(step)}
    </h2>
  );
}

function nowHeading({ kind, count, knownGrams }: BenchStepView): string {
  if (kind === "knownMass") return text.nowHeadings.knownMass(knownGrams ?? 0);
  if (kind === "caps" || kind === "presses") return text.nowHeadings[kind](count?.of ?? 0);
  return text.nowHeadings[kind]();
}

function nowText({ kind, endsAt }: BenchStepView, zone: string): string {
  const until = endsAt === null ? "" : momentText(endsAt, now.value, zone);
  return kind === "quiet" || kind === "soak" ? text.nowTexts[kind](until) : text.nowTexts[kind]();
}

function StepCount({ step, feeder }: { readonly step: BenchStepView; readonly feeder: FeederView }) {
  const { kind, count, problem } = step;
  if (problem !== null) return <p class="notice warning">{text.portionsEndedText(problem)}</p>;
  if (count === null) return null;
  if (kind === "portions" && count.seen === 0) return <p>{text.waitingText(feeder.name)}</p>;
  return (
    <>
      <p class="bench-count">
        {kind === "portions" ? text.portionCountText(count.seen, count.of) : text.countText(count.seen, count.of)}
      </p>
      <progress aria-labelledby="bench-now" max={count.of} value={Math.min(count.seen, count.of)} />
    </>
  );
}

interface StepProps extends Pick<ProgressProps, "run" | "feeder" | "onChange"> {
  readonly step: BenchStepView;
}

/** For the steps that the keeper ends. */
function StepForm({ run, step, feeder, onChange }: StepProps) {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const { kind } = step;
  if (kind !== "weigh" && kind !== "caps" && kind !== "presses" && kind !== "knownMass") return null;
  const finish = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(form.current as HTMLFormElement);
    const weighed = {
      totalGrams: readNumber(data, "totalGrams") ?? null,
      emptySeen: readNumber(data, "emptySeen") ?? null,
    };
    const what = { kind: "next", step: kind, ...(kind === "weigh" ? weighed : {}) } as const;
    const request: BenchRequest = { run: run.id, what };
    const changed = await send(() => laterApi.changeBench(feeder.id, request));
    if (changed !== null) onChange(changed);
  };
  return (
    <form ref={form} onSubmit={(event) => void finish(event)} noValidate>
      <FormError text={formError} />
      {kind === "weigh" && <WeighFields problems={problems} />}
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {text.doneLabel}
        </button>
      </div>
    </form>
  );
}

const WeighFields = ({ problems }: { readonly problems: Readonly<Record<string, string>> }) => (
  <>
    <NumberField
      {...{ name: "totalGrams", label: text.totalLabel, unit: text.gramsUnit, min: 0, max: 20_000 }}
      {...{ problem: problems["what.totalGrams"], value: undefined }}
    />
    <NumberField
      {...{ name: "emptySeen", label: text.emptyLabel, hint: text.emptyHint, unit: text.portionsUnit }}
      {...{ min: 0, max: 100, whole: true, problem: problems["what.emptySeen"], value: undefined }}
    />
  </>
);

const Steps = ({ steps }: { readonly steps: readonly BenchStepView[] }) => (
  <section aria-labelledby="bench-steps">
    <h2 id="bench-steps">{text.stepsTitle}</h2>
    <ol class="bench-steps">
      {steps.map(({ kind, status, problem }) => (
        <li key={kind} class={status} aria-current={status === "now" ? "step" : undefined}>
          {text.stepNames[kind]} <small>{text.stepStatus[status]}</small>
          {problem !== null && <p class="problem">{text.portionsEndedText(problem)}</p>}
        </li>
      ))}
    </ol>
  </section>
);

/** A night's soak must not end by a finger on the wrong button. */
function StopControl({ run, feeder, onChange }: Pick<ProgressProps, "run" | "feeder" | "onChange">) {
  const { sending, formError, send } = useFormSubmit();
  const [asks, setAsks] = useState(false);
  const stop = async () => {
    const changed = await send(() => laterApi.changeBench(feeder.id, { run: run.id, what: { kind: "stop" } }));
    if (changed === null) return;
    onChange(changed);
    announce(text.stoppedText);
  };
  return (
    <section class="bench-stop">
      <FormError text={formError} />
      {asks && <p role="status">{text.stopQuestion}</p>}
      <div class="actions">
        {asks ? (
          <>
            <button type="button" class="danger" disabled={sending} onClick={() => void stop()}>
              {text.stopYesLabel}
            </button>
            <button type="button" onClick={() => setAsks(false)}>
              {text.stopNoLabel}
            </button>
          </>
        ) : (
          <button type="button" onClick={() => setAsks(true)}>
            {text.stopLabel}
          </button>
        )}
      </div>
    </section>
  );
}
