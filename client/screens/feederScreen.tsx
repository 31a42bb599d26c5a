import type { AlarmView, FeederView, YardView } from "../../server/contract/api.ts";
import { HopperDrawing } from "../drawing/hopperDrawing.tsx";
import { AlarmEntry } from "../parts/alarmEntry.tsx";
import { BlindSpots } from "../parts/blindSpots.tsx";
import { DaySection } from "../parts/daySection.tsx";
import { PauseControl } from "../parts/pauseControl.tsx";
import { ReadingsTable } from "../parts/readingsTable.tsx";
import { Screen } from "../parts/screen.tsx";
import { WaitingNote } from "../parts/waitingNote.tsx";
import { waiting } from "../state/acts.ts";
import { findFeeder, home, line } from "../state/home.ts";
import { now } from "../state/now.ts";
import { countedWords, dutyWords, isSetAside, sortAlarms } from "../words/alarm.ts";
import { bigAndSmall, fullnessWords, levelWords, massWords, sentence } from "../words/amount.ts";
import { agoWords, roughlyWhen } from "../words/clock.ts";

export function FeederScreen(props: { readonly id: string }) {
  const found = findFeeder(props.id);
  if (found === null) {
    return (
      <Screen title={home.value === null ? "Feeder" : "No such feeder"} back={{ href: "/", name: "Feeders" }}>
        <p class={home.value === null && line.value !== "cut" ? "empty opening" : "empty"}>
          {home.value !== null
            ? "It may have been removed."
            : line.value === "cut"
              ? "Nothing can be shown until the server has been reached once."
              : "Opening the notebook…"}
        </p>
      </Screen>
    );
  }
  const { feeder, yard } = found;
  // Most acts begin with a pause, so while an alarm stands the pause stands right under it.
  const stands = feeder.alarms.some((alarm) => !isSetAside(alarm));
  return (
    <Screen title={feeder.name} practice={feeder.practice} back={{ href: "/", name: yard.name }} wide>
      <p class="heard">
        {feeder.lastHeardAt === null ? "Not heard from yet." : `Last heard ${agoWords(feeder.lastHeardAt, now.value)}.`}
      </p>
      <Duty feeder={feeder} />
      <Asks feeder={feeder} yard={yard} />
      <div class="spread">
        <div class="leaf-page">
          <Alarms feeder={feeder} yard={yard} />
          {!stands && <Hopper feeder={feeder} yard={yard} />}
          <PauseControl feeder={feeder} yard={yard} />
        </div>
        <div class="leaf-page">
          {stands && <Hopper feeder={feeder} yard={yard} />}
          {feeder.lastHeardAt === null ? (
            <FirstReport feeder={feeder} />
          ) : (
            <DaySection key={feeder.id} feeder={feeder} yard={yard} />
          )}
          <ReadingsTable feeder={feeder} zone={yard.zone} />
          <BlindSpots feeder={feeder} />
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
const Duty = ({ feeder }: { readonly feeder: FeederView }) => {
  const words = dutyWords(feeder.settings.duty);
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
  const { standing, quiet, outOfService } = sortAlarms(feeder);
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
        {countedWords(standing)}
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
function Asks({ feeder, yard }: { readonly feeder: FeederView; readonly yard: YardView }) {
  return feeder.asks.map(({ words, opens }) => (
    <p key={words} class="notice">
      {words} {(yard.role === "keeper" || !opens.endsWith("/settings")) && <a href={opens}>Say it</a>}
    </p>
  ));
}

function Hopper({ feeder, yard }: { readonly feeder: FeederView; readonly yard: YardView }) {
  const { hopper } = feeder;
  const { big, small } = bigAndSmall(hopper.words);
  const level = hopper.level === null ? null : levelWords(hopper.level);
  const refills = waiting.value.filter((act) => act.kind === "refill" && act.feeder === feeder.id);
  return (
    <section class="hopper-section" aria-labelledby="hopper-title">
      <h2 id="hopper-title" class="hidden">
        Hopper
      </h2>
      <p class="big">{big}</p>
      <HopperDrawing hopper={hopper} />
      <div class="hopper-words">
        {small !== null && hopper.level !== null && <p class="small">{small}</p>}
        <p>
          {hopper.level === null
            ? `${feeder.settings.sensors.scale ? "Its scale's first word" : "The first refill you tell of"} says where to start from.`
            : holdsWords(hopper, hopper.level, feeder.settings.food)}
        </p>
        <a class="button main" href={`/feeders/${feeder.id}/refill`}>
          I refilled it
        </a>
      </div>
      {refills.map((act) => (
        <WaitingNote key={act.id} act={act} zone={yard.zone} />
      ))}
      {hopper.portionWords !== "" && <p class="portion hint">{hopper.portionWords}</p>}
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
            value={`${massWords(hopper.capacityGrams)}${hopper.capacityAssumed ? ", as is usual; nobody has said" : ""}`}
          />
          {hopper.empty !== null && (
            <>
              <Row name="Empty by, 1 chance in 10" value={when(hopper.empty.p10, yard.zone)} />
              <Row name="Empty by, as likely as not" value={when(hopper.empty.p50, yard.zone)} />
              <Row name="Empty by, 9 chances in 10" value={when(hopper.empty.p90, yard.zone)} />
            </>
          )}
        </dl>
      </details>
    </section>
  );
}
/** How full it is can be said only where somebody has said what a full one holds. */
const holdsWords = (hopper: FeederView["hopper"], level: NonNullable<FeederView["hopper"]["level"]>, food = "food") =>
  hopper.capacityAssumed
    ? `About ${levelWords(level).about} of ${food}. Nobody has said what a full hopper holds.`
    : `${sentence(fullnessWords(level.grams / hopper.capacityGrams))} of ${food}.`;

const when = (at: string | null, zone: string) => (at === null ? "not in sight" : roughlyWhen(at, now.value, zone));
const Row = (props: { readonly name: string; readonly value: string }) => (
  <div>
    <dt>{props.name}</dt>
    <dd>{props.value}</dd>
  </div>
);
