import { feedersTitle, loadingText, nothingStoredText } from "#text/common.ts";
import {
  enterLabel,
  firstReportText,
  firstReportTitle,
  lastReportText,
  loadingTitle,
  lostKeyText,
  noReportText,
  notFoundTitle,
  outOfServiceTitle,
  removedText,
  suppressedTitle,
} from "#text/feederScreen.ts";
import { benchLabel, planLabel, settingsTitle, yardTrainingLabel } from "#text/screens.ts";
import type { AlarmView, FeederView, YardView } from "../../server/contract/api.ts";
import { AlarmEntry } from "../components/alarmEntry.tsx";
import { DaySection } from "../components/daySection.tsx";
import { DiseaseNotice } from "../components/diseaseNotice.tsx";
import { LinkedText } from "../components/linkedText.tsx";
import { PauseControl } from "../components/pauseControl.tsx";
import { ReadingsTable } from "../components/readingsTable.tsx";
import { Screen } from "../components/screen.tsx";
import { UndetectableFaults } from "../components/undetectableFaults.tsx";
import { now } from "../state/clock.ts";
import { connectionState, findFeeder, home } from "../state/home.ts";
import { isSuppressed } from "../text/alarm.ts";
import { agoText } from "../text/clock.ts";
import { alarmCountText, dutyText, groupAlarms } from "../text/feederAlarms.ts";
import { HopperSection } from "./hopperSection.tsx";

interface FeederProps {
  readonly feeder: FeederView;
  readonly yard: YardView;
}

export function FeederScreen(props: { readonly id: string }) {
  const found = findFeeder(props.id);
  if (found === null) return missingFeeder();
  const { feeder, yard } = found;
  // Most actions begin with a pause, so the pause comes right after an active alarm.
  const hasAlarm = feeder.alarms.some((alarm) => !isSuppressed(alarm));
  return (
    <Screen title={feeder.name} practice={feeder.practice} back={{ href: "/", name: yard.name }} wide>
      <p class="last-report">
        {feeder.lastReportAt === null ? noReportText : lastReportText(agoText(feeder.lastReportAt, now.value))}
      </p>
      <DutyNotice feeder={feeder} />
      <DiseaseNotice yard={yard} />
      <OpenQuestions feeder={feeder} yard={yard} />
      <div class="columns">
        <div class="column">
          <Alarms feeder={feeder} yard={yard} />
          {!hasAlarm && <HopperSection feeder={feeder} yard={yard} />}
          <PauseControl feeder={feeder} yard={yard} />
        </div>
        <div class="column">
          {hasAlarm && <HopperSection feeder={feeder} yard={yard} />}
          <Observations feeder={feeder} yard={yard} />
        </div>
      </div>
    </Screen>
  );
}

/** Not a component: the screen stays the same one when the feeder is loaded, so the focus does not move to its heading. */
function missingFeeder() {
  const isOffline = connectionState.value === "offline";
  if (home.value !== null)
    return (
      <Screen title={notFoundTitle} back={{ href: "/", name: feedersTitle }}>
        <p class="empty">{removedText}</p>
      </Screen>
    );
  return (
    <Screen title={loadingTitle} back={{ href: "/", name: feedersTitle }}>
      <p class={isOffline ? "empty" : "empty first-load"}>{isOffline ? nothingStoredText : loadingText}</p>
    </Screen>
  );
}

/** While it is in the workshop or in storage, silence must not be taken for "all is well". */
const DutyNotice = ({ feeder }: { readonly feeder: FeederView }) => {
  const text = dutyText(feeder.settings.placement);
  return text === null ? null : <p class="notice">{text}</p>;
};

/** What the feeder has reported, and what it can't detect. */
const Observations = ({ feeder, yard }: FeederProps) => (
  <>
    {feeder.lastReportAt === null ? (
      <FirstReport feeder={feeder} />
    ) : (
      <DaySection key={feeder.id} feeder={feeder} yard={yard} />
    )}
    <ReadingsTable feeder={feeder} zone={yard.zone} />
    <UndetectableFaults feeder={feeder} />
    {!feeder.practice && (
      <p class="page-link">
        <a href={`/feeders/${feeder.id}/plan`}>{planLabel}</a>
      </p>
    )}
    {!feeder.practice && (
      <p class="page-link">
        <a href={`/yards/${yard.id}/training`}>{yardTrainingLabel(yard.name)}</a>
      </p>
    )}
    {!feeder.practice && (
      <p class="page-link">
        <a href={`/feeders/${feeder.id}/bench`}>{benchLabel}</a>
      </p>
    )}
    {yard.role === "keeper" && (
      <p class="page-link">
        <a href={`/feeders/${feeder.id}/settings`}>{settingsTitle(feeder.name)}</a>
      </p>
    )}
  </>
);

/** Before the first report there is no day to draw. */
const FirstReport = ({ feeder }: { readonly feeder: FeederView }) => (
  <section aria-labelledby="first-title">
    <h2 id="first-title">{firstReportTitle}</h2>
    <p>
      {firstReportText(feeder.name)} <LinkedText text={lostKeyText} hrefs={[`/feeders/${feeder.id}/settings`]} />
    </p>
  </section>
);

function Alarms({ feeder, yard }: FeederProps) {
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
          <summary>{suppressedTitle(titles(quiet))}</summary>
          {entries(quiet)}
        </details>
      )}
      {outOfService.length > 0 && (
        <details class="aside">
          <summary>{outOfServiceTitle(titles(outOfService))}</summary>
          {entries(outOfService)}
        </details>
      )}
    </section>
  );
}

/** What is shown here depends on something that only a keeper can enter. */
function OpenQuestions({ feeder, yard }: FeederProps) {
  return feeder.questions.map(({ text: question, link }) => (
    <p key={question} class="notice">
      {question} {(yard.role === "keeper" || !link.endsWith("/settings")) && <a href={link}>{enterLabel}</a>}
    </p>
  ));
}
