import { type FaultKind, faultKinds, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { foodOutlook } from "../foodOutlook.ts";
import { days, type Instant } from "../instant.ts";
import { localDateOf, localTimeOf, momentText } from "../localTime.ts";
import { openQuestions } from "../openQuestions.ts";
import { type DigestFeeder, isInGarden, nameOf, standingFaults } from "./digestFeeder.ts";
import { needsRefill } from "./foodLeft.ts";
import { listNames } from "./limitLines.ts";

export interface DigestTasks {
  /** What asks for an act, the gravest first. */
  readonly tasks: readonly DigestTask[];
  /** What the keeper set aside and ought to remember, and what isn't connected yet. */
  readonly otherLines: readonly string[];
}

interface TaskYard {
  readonly id: string;
  readonly zone: string;
}

export interface DigestTask {
  readonly text: string;
  readonly link: string; // the page where it is done
  readonly rank: number; // the gravest fault first
}

/** Refill, clean, look: what a keeper should do today. */
export function digestTasks({ id, zone }: TaskYard, feeders: readonly DigestFeeder[], now: Instant): DigestTasks {
  const tasks = feeders.flatMap((feeder) => [...alarmTasks(feeder, zone, now), ...refillTask(feeder, now)]);
  tasks.push(...feeders.flatMap((feeder) => latchedTasks(feeder)), ...cleaningTask(id, feeders, now));
  tasks.push(...feeders.flatMap(questionTasks));
  tasks.sort((a, b) => a.rank - b.rank);
  const unheard = feeders.filter(({ state }) => state.reporting.kind === "neverReported" && isInGarden(state));
  const bench = feeders.filter(({ state }) => state.settings.placement === "onBench");
  const away = feeders.filter(({ state }) => state.settings.placement === "putAway");
  const connect = unheard.length === 0 ? [] : [`${listNames(unheard.map(nameOf))}: not yet connected.`];
  return {
    tasks,
    otherLines: [
      ...connect,
      ...notInUseLines(bench, "on the bench"),
      ...notInUseLines(away, "put away"),
      ...suppressedLines(feeders, zone, now),
    ],
  };
}

const notInUseLines = (feeders: readonly DigestFeeder[], where: string): readonly string[] =>
  feeders.length === 0 ? [] : [`${listNames(feeders.map(nameOf))}: ${where}.`];

function alarmTasks(feeder: DigestFeeder, zone: string, now: Instant): readonly DigestTask[] {
  return standingFaults(feeder.state).map((kind) => ({
    text: `${nameOf(feeder)}: ${ruleOf(kind).title}${sinceText(feeder.state, kind, zone, now)}. ${ruleOf(kind).advice}`,
    link: pageOf(feeder),
    rank: faultKinds.indexOf(kind),
  }));
}

function sinceText({ alarms }: FeederState, kind: FaultKind, zone: string, now: Instant): string {
  const since = alarms[kind]?.since;
  return since === undefined ? "" : ` since ${momentText(since, zone, now)}`;
}

/**
 * Dirty feeders make birds ill. Common practice, no source: public health's advice is weekly or when dirty, that of a bird
 * society once or twice a month. Counted from when a keeper last said so, or from when the feeder was added.
 */
function cleaningTask(yard: string, feeders: readonly DigestFeeder[], now: Instant): readonly DigestTask[] {
  const due = feeders.filter(
    ({ state, addedAt }) =>
      isInGarden(state) && state.reporting.kind !== "neverReported" && now - (state.cleanedAt ?? addedAt) >= cleanEvery,
  );
  if (due.length === 0) return [];
  const words = `Clean ${listNames(due.map(nameOf))}: two weeks or more have passed since anybody said so.`;
  return [{ text: words, link: `/yards/${encodeURIComponent(yard)}/digest#cleaning-title`, rank: faultKinds.length }];
}
const cleanEvery = days(14);

/** Gone, and waiting for somebody to see with their own eyes what it left behind. */
function latchedTasks(feeder: DigestFeeder): readonly DigestTask[] {
  return faultKinds.flatMap((kind) => {
    const phase = feeder.state.alarms[kind]?.state;
    if (phase !== "latchedUnacknowledged" && phase !== "latchedAcknowledged") return [];
    const words = `${nameOf(feeder)}: look whether all is well after "${ruleOf(kind).title}", and say so on its page.`;
    return [{ text: words, link: pageOf(feeder), rank: faultKinds.indexOf(kind) }];
  });
}

function refillTask(feeder: DigestFeeder, now: Instant): readonly DigestTask[] {
  if (!needsRefill(feeder, now)) return [];
  const words = `${nameOf(feeder)}: refill today, ${foodOutlook(feeder.state, now).text}.`;
  return [{ text: words, link: `${pageOf(feeder)}/refill`, rank: faultKinds.indexOf("foodLow") }];
}

/** What only a keeper can say and the forecast rests on. */
const questionTasks = (feeder: DigestFeeder): readonly DigestTask[] =>
  openQuestions(feeder.state).map(({ text, answerAt }) => ({
    text: `${nameOf(feeder)}: ${text.charAt(0).toLowerCase()}${text.slice(1)}`,
    link: `${pageOf(feeder)}/${answerAt === "refill" ? "refill" : "settings"}`,
    rank: faultKinds.length + 1,
  }));

const pageOf = ({ id }: Pick<DigestFeeder, "id">): string => `/feeders/${encodeURIComponent(id)}`;

/** What the keeper shelved and comes back today, and what is out of service until somebody says otherwise. */
function suppressedLines(feeders: readonly DigestFeeder[], zone: string, now: Instant): readonly string[] {
  const today = localDateOf(now, zone);
  const out = feeders.flatMap((feeder) =>
    faultKinds
      .filter((kind) => feeder.state.alarms[kind]?.state === "outOfService")
      .map((kind) => `${ruleOf(kind).title} (${nameOf(feeder)})`),
  );
  const outLine = out.length === 0 ? [] : [`Out of service: ${listNames(out)}.`];
  const shelved = feeders.flatMap((feeder) =>
    faultKinds.flatMap((kind) => {
      const alarm = feeder.state.alarms[kind];
      if (alarm?.state !== "shelved" || localDateOf(alarm.shelvedUntil, zone) !== today) return [];
      return [
        `${nameOf(feeder)}: ${ruleOf(kind).title} is shelved until ${localTimeOf(alarm.shelvedUntil, zone)} today.`,
      ];
    }),
  );
  return [...shelved, ...outLine];
}
