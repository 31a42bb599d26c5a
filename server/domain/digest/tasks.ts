import { uncapitalize } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { type FaultKind, faultKinds, ruleOf } from "../faults.ts";
import { foodOutlook } from "../foodOutlook.ts";
import { days, type Instant } from "../instant.ts";
import { localDateOf, localTimeOf, momentText } from "../localTime.ts";
import { openQuestions, questionPage } from "../openQuestions.ts";
import { type DigestFeeder, isInGarden, nameOf, standingFaults } from "./digestFeeder.ts";
import { needsRefill } from "./foodLeft.ts";
import { listNames } from "./limitLines.ts";

export interface DigestTasks {
  /** The tasks, the most urgent first. */
  readonly tasks: readonly DigestTask[];
  /** What the keeper shelved or took out of service, and what has not reported yet. */
  readonly otherLines: readonly string[];
}

interface TaskYard {
  readonly id: string;
  readonly zone: string;
}

export interface DigestTask {
  readonly text: string;
  readonly link: string; // the page where it is done
  readonly rank: number; // the most urgent first
}

/** Refill, clean, check: what a keeper should do today. */
export function digestTasks({ id, zone }: TaskYard, feeders: readonly DigestFeeder[], now: Instant): DigestTasks {
  const tasks = feeders.flatMap((feeder) => [...alarmTasks(feeder, zone, now), ...refillTask(feeder, now)]);
  tasks.push(...feeders.flatMap((feeder) => latchedTasks(feeder)), ...cleaningTask(id, feeders, now));
  tasks.push(...feeders.flatMap(questionTasks));
  tasks.sort((a, b) => a.rank - b.rank);
  const unreported = feeders.filter(({ state }) => state.reporting.kind === "neverReported" && isInGarden(state));
  const inWorkshop = feeders.filter(({ state }) => state.settings.placement === "onBench");
  const inStorage = feeders.filter(({ state }) => state.settings.placement === "putAway");
  const unreportedLine =
    unreported.length === 0 ? [] : [texts.digest.tasks.noReportYet(listNames(unreported.map(nameOf)))];
  return {
    tasks,
    otherLines: [
      ...unreportedLine,
      ...notInUseLines(inWorkshop, texts.digest.tasks.inWorkshop),
      ...notInUseLines(inStorage, texts.digest.tasks.inStorage),
      ...suppressedLines(feeders, zone, now),
    ],
  };
}

const notInUseLines = (feeders: readonly DigestFeeder[], text: (names: string) => string): readonly string[] =>
  feeders.length === 0 ? [] : [text(listNames(feeders.map(nameOf)))];

function alarmTasks(feeder: DigestFeeder, zone: string, now: Instant): readonly DigestTask[] {
  return standingFaults(feeder.state).map((kind) => ({
    text: alarmText(feeder, kind, zone, now),
    link: pageOf(feeder),
    rank: faultKinds.indexOf(kind),
  }));
}

function alarmText(feeder: DigestFeeder, kind: FaultKind, zone: string, now: Instant): string {
  const { title, advice } = ruleOf(kind);
  const since = feeder.state.alarms[kind]?.since;
  if (since === undefined) return texts.digest.tasks.alarm(nameOf(feeder), title, advice);
  return texts.digest.tasks.alarmSince(nameOf(feeder), title, momentText(since, zone, now), advice);
}

/**
 * Dirty feeders make birds ill. Common practice, no source: public health's advice is weekly or when dirty, that of a bird
 * society once or twice a month. Counted from the last cleaning that was entered, or from when the feeder was added.
 */
function cleaningTask(yard: string, feeders: readonly DigestFeeder[], now: Instant): readonly DigestTask[] {
  const due = feeders.filter(
    ({ state, addedAt }) =>
      isInGarden(state) && state.reporting.kind !== "neverReported" && now - (state.cleanedAt ?? addedAt) >= cleanEvery,
  );
  if (due.length === 0) return [];
  const text = texts.digest.tasks.clean(listNames(due.map(nameOf)));
  return [{ text, link: `/yards/${encodeURIComponent(yard)}/digest#cleaning-title`, rank: faultKinds.length }];
}
const cleanEvery = days(14);

/** Faults that have ended and wait until somebody checks for damage. */
function latchedTasks(feeder: DigestFeeder): readonly DigestTask[] {
  return faultKinds.flatMap((kind) => {
    const state = feeder.state.alarms[kind]?.state;
    if (state !== "latchedUnacknowledged" && state !== "latchedAcknowledged") return [];
    const text = texts.digest.tasks.check(nameOf(feeder), ruleOf(kind).title);
    return [{ text, link: pageOf(feeder), rank: faultKinds.indexOf(kind) }];
  });
}

function refillTask(feeder: DigestFeeder, now: Instant): readonly DigestTask[] {
  if (!needsRefill(feeder, now)) return [];
  const text = texts.digest.tasks.refill(nameOf(feeder), foodOutlook(feeder.state, now).text);
  return [{ text, link: `${pageOf(feeder)}/refill`, rank: faultKinds.indexOf("foodLow") }];
}

/** What only a keeper can enter and the forecast needs. */
const questionTasks = (feeder: DigestFeeder): readonly DigestTask[] =>
  openQuestions(feeder.state).map((question) => ({
    text: texts.digest.feederLine(nameOf(feeder), uncapitalize(question.text)),
    link: questionPage(feeder.id, question),
    rank: faultKinds.length + 1,
  }));

const pageOf = ({ id }: Pick<DigestFeeder, "id">): string => `/feeders/${encodeURIComponent(id)}`;

/** Alarms whose shelving ends today, and alarms out of service. */
function suppressedLines(feeders: readonly DigestFeeder[], zone: string, now: Instant): readonly string[] {
  const today = localDateOf(now, zone);
  const out = feeders.flatMap((feeder) =>
    faultKinds
      .filter((kind) => feeder.state.alarms[kind]?.state === "outOfService")
      .map((kind) => texts.digest.tasks.outOfServiceAlarm(ruleOf(kind).title, nameOf(feeder))),
  );
  const outLine = out.length === 0 ? [] : [texts.digest.tasks.outOfService(listNames(out))];
  const shelved = feeders.flatMap((feeder) =>
    faultKinds.flatMap((kind) => {
      const alarm = feeder.state.alarms[kind];
      if (alarm?.state !== "shelved" || localDateOf(alarm.shelvedUntil, zone) !== today) return [];
      const until = localTimeOf(alarm.shelvedUntil, zone);
      return [texts.digest.tasks.shelvedUntil(nameOf(feeder), ruleOf(kind).title, until)];
    }),
  );
  return [...shelved, ...outLine];
}
