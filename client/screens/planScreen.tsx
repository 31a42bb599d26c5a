import { useState } from "preact/hooks";
import { saveLabel } from "#text/common.ts";
import * as text from "#text/planScreen.ts";
import { feederNotFoundText, onlyKeepersText } from "#text/screens.ts";
import type { FeederView, PlannedDayView, PlanView, YardView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { PlanChart } from "../charts/planChart.tsx";
import { FormError, useFormSubmit } from "../components/field.tsx";
import { LinkedText } from "../components/linkedText.tsx";
import { firstRules, PlanFields, readPlanFields } from "../components/planFields.tsx";
import { RationAdvice } from "../components/rationAdvice.tsx";
import { noteSaved } from "../components/savedNote.tsx";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { useUndoCount } from "../components/useUndoCount.ts";
import { changeBack } from "../state/changeBack.ts";
import { now } from "../state/clock.ts";
import { acceptFeeder, findFeeder } from "../state/home.ts";
import { capitalize, massText } from "../text/amount.ts";
import { agoText, dayText, localDate, timeText } from "../text/clock.ts";
import { numberText } from "../text/format.ts";
import { notFoundScreen } from "./notFound.tsx";

/** What a feeder gives and when: the next days as pictures, and the rules that they follow from. */
export function PlanScreen(props: { readonly id: string }) {
  const found = findFeeder(props.id);
  if (found === null) return notFoundScreen(text.notFoundTitle, feederNotFoundText);
  const { feeder, yard } = found;
  return (
    <Screen
      title={text.title(feeder.name)}
      practice={feeder.practice}
      back={{ href: `/feeders/${feeder.id}`, name: feeder.name }}
    >
      <Plan key={feeder.id} feeder={feeder} yard={yard} />
      <p class="hint">
        <LinkedText text={text.cautionText} hrefs={["/cautions"]} />
      </p>
    </Screen>
  );
}

interface PlanProps {
  readonly feeder: FeederView;
  readonly yard: YardView;
}

function Plan({ feeder, yard }: PlanProps) {
  const [plan, setPlan] = useState<PlanView | null>(null);
  const [preview, setPreview] = useState<PlanView | null>(null);
  useLoad(async () => {
    const result = await laterApi.plan(feeder.id);
    if (result.kind === "ok") setPlan(result.value);
    return result;
  }, [feeder.id, feeder.revision]);
  const shown = preview ?? plan;
  return (
    <>
      {plan !== null && <PlanStatus plan={plan} feeder={feeder} yard={yard} />}
      {shown !== null && shown.days.length > 0 && (
        <section aria-labelledby="plan-days" role={preview === null ? undefined : "status"}>
          <h2 id="plan-days">{preview === null ? text.daysTitle : text.previewTitle}</h2>
          <PlannedDays plan={shown} zone={yard.zone} />
        </section>
      )}
      {yard.role === "keeper" ? (
        <>
          <RationAdvice feeder={feeder} />
          <PlanForm feeder={feeder} onPreview={setPreview} />
          {feeder.settings.feeding != null && <RemovePlan feeder={feeder} onRemoved={() => setPreview(null)} />}
        </>
      ) : (
        <p class="hint">{onlyKeepersText(yard.name)}</p>
      )}
    </>
  );
}

function PlanStatus({ plan, feeder, yard }: PlanProps & { readonly plan: PlanView }) {
  if (plan.problem !== null) {
    return (
      <p>
        {plan.problem} <a href={`/yards/${yard.id}`}>{text.enterPlaceLabel}</a>
      </p>
    );
  }
  return (
    <>
      <p>{statusText(plan, feeder.name)}</p>
      {plan.todayText !== null && <p>{plan.todayText}</p>}
      {plan.seasonText !== null && <p class="hint">{plan.seasonText}</p>}
    </>
  );
}

function statusText({ version, confirmedVersion, reportedAt }: PlanView, name: string): string {
  if (version === null) return confirmedVersion === null ? text.noPlanText(name) : text.stillFollowedText(name);
  if (reportedAt === null) return text.neverReportedText(name);
  if (confirmedVersion === null) return text.unconfirmedText(name);
  return confirmedVersion === version
    ? text.followedText(name, agoText(reportedAt, now.value))
    : text.otherVersionText(name);
}

const daysShown = 7;

function PlannedDays({ plan, zone }: { readonly plan: PlanView; readonly zone: string }) {
  const today = localDate(now.value, zone);
  const stretched = plan.days.find(({ stretchedMinutes }) => stretchedMinutes !== null)?.stretchedMinutes;
  return (
    <>
      {stretched != null && <p>{text.stretchedText(numberText(stretched, 0))}</p>}
      <ol class="plan-days">
        {plan.days.slice(0, daysShown).map((day) => (
          <li key={day.date}>
            <span>{capitalize(dayText(day.date, today))}</span>
            <PlanChart day={day} name={capitalize(dayText(day.date, today))} zone={zone} />
            <details>
              <summary>{text.timesLabel}</summary>
              <p>{dayDetails(day, plan.portionGrams, zone)}</p>
            </details>
          </li>
        ))}
      </ol>
    </>
  );
}

function dayDetails(day: PlannedDayView, portionGrams: number, zone: string): string {
  const times = (list: readonly string[]) => list.map((at) => timeText(at, zone)).join(", ");
  const parts = [
    text.dayTimesText(times(day.free), day.portionsEach, massText(day.portionsEach * portionGrams)),
    text.rationText(day.portionsMax),
    ...(day.frost.length === 0 ? [] : [text.frostText(times(day.frost))]),
    ...(day.light === "polarNight" ? [text.polarNightText] : []),
    ...(day.light === "polarDay" ? [text.polarDayText] : []),
  ];
  return `${capitalize(parts.join("; "))}.`;
}

function showPreview(planned: PlanView, onPreview: (plan: PlanView) => void): void {
  onPreview(planned);
  document.getElementById("plan-days")?.scrollIntoView({ block: "start" });
}

function PlanForm(props: { readonly feeder: FeederView; readonly onPreview: (plan: PlanView | null) => void }) {
  const { feeder, onPreview } = props;
  const { sending, problems, formError, form, send } = useFormSubmit();
  const { undone, counted } = useUndoCount();
  const before = feeder.settings.feeding ?? null;
  const read = () => readPlanFields(form.current as HTMLFormElement, before?.seed);
  const save = async (event: SubmitEvent) => {
    event.preventDefault();
    const changed = await send(() => laterApi.changeFeeder(feeder.id, { feeding: read() }));
    if (changed === null) return;
    acceptFeeder(changed);
    onPreview(null);
    noteSaved(
      text.savedText,
      counted(() => changeBack(feeder.id, { feeding: before })),
    );
  };
  const preview = async () => {
    const planned = await send(() => laterApi.planPreview(feeder.id, read()));
    if (planned !== null) showPreview(planned, onPreview);
  };
  return (
    <section aria-labelledby="plan-rules">
      <h2 id="plan-rules">{text.rulesTitle}</h2>
      <form ref={form} onSubmit={(event) => void save(event)} noValidate>
        <FormError text={formError} />
        <PlanFields key={undone} rules={before ?? firstRules} problems={problems} />
        <div class="actions">
          <button type="submit" class="main" disabled={sending}>
            {saveLabel}
          </button>
          <button type="button" disabled={sending} onClick={() => void preview()}>
            {text.previewLabel}
          </button>
        </div>
      </form>
    </section>
  );
}

function RemovePlan(props: { readonly feeder: FeederView; readonly onRemoved: () => void }) {
  const { feeder, onRemoved } = props;
  const { sending, formError, send } = useFormSubmit();
  const before = feeder.settings.feeding ?? null;
  const remove = async () => {
    const changed = await send(() => laterApi.changeFeeder(feeder.id, { feeding: null }));
    if (changed === null) return;
    acceptFeeder(changed);
    onRemoved();
    noteSaved(text.removedText, () => changeBack(feeder.id, { feeding: before }));
  };
  return (
    <section class="plan-removal">
      <FormError text={formError} />
      <p class="hint">{text.removeHint}</p>
      <button type="button" disabled={sending} onClick={() => void remove()}>
        {text.removeLabel}
      </button>
    </section>
  );
}
