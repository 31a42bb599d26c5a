import type { AlarmView, FeederView, YardView } from "../../server/contract/api.ts";
import { HopperChart } from "../charts/hopperChart.tsx";
import { AlarmEntry } from "../components/alarmEntry.tsx";
import { DaySection } from "../components/daySection.tsx";
import { PauseControl } from "../components/pauseControl.tsx";
import { QueuedActionNote } from "../components/queuedActionNote.tsx";
import { ReadingsTable } from "../components/readingsTable.tsx";
import { Screen } from "../components/screen.tsx";
import { UndetectableFaults } from "../components/undetectableFaults.tsx";
import { queuedActions } from "../state/actions.ts";
import { now } from "../state/clock.ts";
import { connectionState, findFeeder, home } from "../state/home.ts";
import { isSuppressed } from "../text/alarm.ts";
import { capitalize, fullnessText, levelText, massText, splitHeadline } from "../text/amount.ts";
import { agoText, approximateMomentText } from "../text/clock.ts";
import { alarmCountText, dutyText, groupAlarms } from "../text/feederAlarms.ts";

export function FeederScreen(props: { readonly id: string }) {
  const found = findFeeder(props.id);
  if (found === null) {
    return (
      <Screen title={home.value === null ? "Feeder" : "No such feeder"} back={{ href: "/", name: "Feeders" }}>
        <p class={home.value === null && connectionState.value !== "offline" ? "empty opening" : "empty"}>
          {home.value !== null
            ? "It may have been removed."
            : connectionState.value === "offline"
              ? "Nothing can be shown until the server has been reached once."
              : "Opening the notebook…"}
        </p>
      </Screen>
    );
  }
  const { feeder, yard } = found;
  // Most acts begin with a pause, so while an alarm stands the pause stands right under it.
  const stands = feeder.alarms.some((alarm) => !isSuppressed(alarm));
  return (
    <Screen title={feeder.name} practice={feeder.practice} back={{ href: "/", name: yard.name }} wide>
      <p class="heard">
        {feeder.lastReportAt === null
          ? "Not heard from yet."
          : `Last heard ${agoText(feeder.lastReportAt, now.value)}.`}
      </p>
      <DutyNotice feeder={feeder} />
      <OpenQuestions feeder={feeder} yard={yard} />
      <div class="spread">
        <div class="leaf-page">
          <Alarms feeder={feeder} yard={yard} />
          {!stands && <HopperSection feeder={feeder} yard={yard} />}
          <PauseControl feeder={feeder} yard={yard} />
        </div>
        <div class="leaf-page">
          {stands && <HopperSection feeder={feeder} yard={yard} />}
          {feeder.lastReportAt === null ? (
            <FirstReport feeder={feeder} />
          ) : (
            <DaySection key={feeder.id} feeder={feeder} yard={yard} />
          )}
          <ReadingsTable feeder={feeder} zone={yard.zone} />
          <UndetectableFaults feeder={feeder} />
          {yard.role === "keeper" && (
            <p class="elsewhere">
              <a href={`/feeders/${feeder.id}/settings`}>Settings of {feeder.name}</a>
            </p>
          )}
        </div>
      </div>
    </Screen>
  );
}

/** Where it isn't in the garden, silence must not be taken for "all is well". */
const DutyNotice = ({ feeder }: { readonly feeder: FeederView }) => {
  const words = dutyText(feeder.settings.duty);
  return words === null ? null : <p class="notice">{words}</p>;
};

/** Before the first report there is no day to draw: the page says what it waits for instead. */
const FirstReport = ({ feeder }: { readonly feeder: FeederView }) => (
  <section aria-labelledby="first-title">
    <h2 id="first-title">Waiting for a first report</h2>
    <p>
      Put the key on {feeder.name}'s computer and let it report; its days will be drawn here. If the key is lost,{" "}
      <a href={`/feeders/${feeder.id}/settings`}>make a new one in the settings</a>.
    </p>
  </section>
);

function Alarms({ feeder, yard }: { readonly feeder: FeederView; readonly yard: YardView }) {
  const { standing, quiet, outOfService } = groupAlarms(feeder);
  const entries = (alarms: readonly AlarmView[]) => (
    <ul class="alarm-list">
      {alarms.map((alarm) => (
        <AlarmEntry key={alarm.fault} alarm={alarm} feeder={feeder} yard={yard} />
      ))}
    </ul>
  );
  const titles = (alarms: readonly AlarmView[]) => alarms.map((alarm) => alarm.title).join(", ");
  return (
    <section class="alarms" aria-labelledby="alarms-title">
      <h2 id="alarms-title" class={standing.length === 0 ? "hidden" : ""}>
        {alarmCountText(standing)}
      </h2>
      {standing.length > 0 && entries(standing)}
      {quiet.length > 0 && (
        <details class="aside">
          <summary>Kept quiet for now: {titles(quiet)}</summary>
          {entries(quiet)}
        </details>
      )}
      {outOfService.length > 0 && (
        <details class="aside">
          <summary>Out of service: {titles(outOfService)}</summary>
          {entries(outOfService)}
        </details>
      )}
    </section>
  );
}

/** What is told here rests on something that only a keeper can say. */
function OpenQuestions({ feeder, yard }: { readonly feeder: FeederView; readonly yard: YardView }) {
  return feeder.questions.map(({ words, opens }) => (
    <p key={words} class="notice">
      {words} {(yard.role === "keeper" || !opens.endsWith("/settings")) && <a href={opens}>Say it</a>}
    </p>
  ));
}

function HopperSection({ feeder, yard }: { readonly feeder: FeederView; readonly yard: YardView }) {
  const { hopper } = feeder;
  const { headline, detail } = splitHeadline(hopper.text);
  const level = hopper.level === null ? null : levelText(hopper.level);
  const refills = queuedActions.value.filter((act) => act.kind === "refill" && act.feeder === feeder.id);
  return (
    <section class="hopper-section" aria-labelledby="hopper-title">
      <h2 id="hopper-title" class="hidden">
        Hopper
      </h2>
      <p class="big">{headline}</p>
      <HopperChart hopper={hopper} />
      <div class="hopper-words">
        {detail !== null && hopper.level !== null && <p class="small">{detail}</p>}
        <p>
          {hopper.level === null
            ? `${feeder.settings.sensors.scale ? "Its scale's first word" : "The first refill you tell of"} says where to start from.`
            : contentText(hopper, hopper.level, feeder.settings.food)}
        </p>
        <a class="button main" href={`/feeders/${feeder.id}/refill`}>
          I refilled it
        </a>
      </div>
      {refills.map((act) => (
        <QueuedActionNote key={act.id} act={act} zone={yard.zone} />
      ))}
      {hopper.portionText !== "" && <p class="portion hint">{hopper.portionText}</p>}
      <details>
        <summary>The hopper in numbers</summary>
        <dl class="numbers">
          {level !== null && (
            <>
              <Row name="In it now" value={`about ${level.about}`} />
              <Row name="Nine times in ten between" value={`${level.low} and ${level.high}`} />
            </>
          )}
          <Row
            name="Full"
            value={`${massText(hopper.capacityGrams)}${hopper.capacityAssumed ? ", as is usual; nobody has said" : ""}`}
          />
          {hopper.emptyForecast !== null && (
            <>
              <Row name="Empty by, 1 chance in 10" value={emptyAtText(hopper.emptyForecast.p10, yard.zone)} />
              <Row name="Empty by, as likely as not" value={emptyAtText(hopper.emptyForecast.p50, yard.zone)} />
              <Row name="Empty by, 9 chances in 10" value={emptyAtText(hopper.emptyForecast.p90, yard.zone)} />
            </>
          )}
        </dl>
      </details>
    </section>
  );
}
/** How full it is can be said only where somebody has said what a full one holds. */
const contentText = (hopper: FeederView["hopper"], level: NonNullable<FeederView["hopper"]["level"]>, food = "food") =>
  hopper.capacityAssumed
    ? `About ${levelText(level).about} of ${food}. Nobody has said what a full hopper holds.`
    : `${capitalize(fullnessText(level.grams / hopper.capacityGrams))} of ${food}.`;

const emptyAtText = (at: string | null, zone: string) =>
  at === null ? "not in sight" : approximateMomentText(at, now.value, zone);
const Row = (props: { readonly name: string; readonly value: string }) => (
  <div>
    <dt>{props.name}</dt>
    <dd>{props.value}</dd>
  </div>
);
