import { asksOf } from "../asks.ts";
import { type FaultKind, faultKinds, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { foodOutlook } from "../foodOutlook.ts";
import { days, type Instant } from "../instant.ts";
import { localDateOf, localTimeOf, momentWords } from "../localTime.ts";
import { type DigestFeeder, isInGarden, nameOf, standingFaults } from "./digestFeeder.ts";
import { asksForRefill } from "./foodLeft.ts";
import { listed } from "./screenful.ts";

export interface Tasks {
  /** What asks for an act, the gravest first. */
  readonly tasks: readonly Task[];
  /** What the keeper set aside and ought to remember, and what isn't connected yet. */
  readonly besides: readonly string[];
}

interface YardOfTasks {
  readonly id: string;
  readonly zone: string;
}

export interface Task {
  readonly words: string;
  readonly opens: string; // the page where it is done
  readonly rank: number; // the gravest fault first
}

/** Refill, clean, look: what a keeper should do today. */
export function tasksOf({ id, zone }: YardOfTasks, feeders: readonly DigestFeeder[], now: Instant): Tasks {
  const tasks = feeders.flatMap((feeder) => [...alarmTasks(feeder, zone, now), ...refillTask(feeder, now)]);
  tasks.push(...feeders.flatMap((feeder) => latchedTasks(feeder)), ...cleaningTask(id, feeders, now));
  tasks.push(...feeders.flatMap(askTasks));
  tasks.sort((a, b) => a.rank - b.rank);
  const unheard = feeders.filter(({ state }) => state.link.kind === "neverHeard" && isInGarden(state));
  const bench = feeders.filter(({ state }) => state.settings.duty === "onBench");
  const away = feeders.filter(({ state }) => state.settings.duty === "putAway");
  const connect = unheard.length === 0 ? [] : [`${listed(unheard.map(nameOf))}: not yet connected.`];
  return {
    tasks,
    besides: [
      ...connect,
      ...aside(bench, "on the bench"),
      ...aside(away, "put away"),
      ...setAsideLines(feeders, zone, now),
    ],
  };
}

const aside = (feeders: readonly DigestFeeder[], where: string): readonly string[] =>
  feeders.length === 0 ? [] : [`${listed(feeders.map(nameOf))}: ${where}.`];

function alarmTasks(feeder: DigestFeeder, zone: string, now: Instant): readonly Task[] {
  return standingFaults(feeder.state).map((kind) => ({
    words: `${nameOf(feeder)}: ${ruleOf(kind).title}${sinceWords(feeder.state, kind, zone, now)}. ${ruleOf(kind).act}`,
    opens: pageOf(feeder),
    rank: faultKinds.indexOf(kind),
  }));
}

function sinceWords({ alarms }: FeederState, kind: FaultKind, zone: string, now: Instant): string {
  const since = alarms[kind]?.since;
  return since === undefined ? "" : ` since ${momentWords(since, zone, now)}`;
}

/**
 * Dirty feeders make birds ill. Common practice, no source: public health's advice is weekly or when dirty, that of a bird
 * society once or twice a month. Counted from when a keeper last said so, or from when the feeder was added.
 */
function cleaningTask(yard: string, feeders: readonly DigestFeeder[], now: Instant): readonly Task[] {
  const due = feeders.filter(
    ({ state, addedAt }) =>
      isInGarden(state) && state.link.kind !== "neverHeard" && now - (state.cleanedAt ?? addedAt) >= cleanEvery,
  );
  if (due.length === 0) return [];
  const words = `Clean ${listed(due.map(nameOf))}: two weeks or more have passed since anybody said so.`;
  return [{ words, opens: `/yards/${encodeURIComponent(yard)}/digest#cleaning-title`, rank: faultKinds.length }];
}
const cleanEvery = days(14);

/** Gone, and waiting for somebody to see with their own eyes what it left behind. */
function latchedTasks(feeder: DigestFeeder): readonly Task[] {
  return faultKinds.flatMap((kind) => {
    const phase = feeder.state.alarms[kind]?.phase;
    if (phase !== "latchedUnacknowledged" && phase !== "latchedAcknowledged") return [];
    const words = `${nameOf(feeder)}: look whether all is well after "${ruleOf(kind).title}", and say so on its page.`;
    return [{ words, opens: pageOf(feeder), rank: faultKinds.indexOf(kind) }];
  });
}

function refillTask(feeder: DigestFeeder, now: Instant): readonly Task[] {
  if (!asksForRefill(feeder, now)) return [];
  const words = `${nameOf(feeder)}: refill today, ${foodOutlook(feeder.state, now).words}.`;
  return [{ words, opens: `${pageOf(feeder)}/refill`, rank: faultKinds.indexOf("foodLow") }];
}

/** What only a keeper can say and the forecast rests on. */
const askTasks = (feeder: DigestFeeder): readonly Task[] =>
  asksOf(feeder.state).map(({ words, said }) => ({
    words: `${nameOf(feeder)}: ${words.charAt(0).toLowerCase()}${words.slice(1)}`,
    opens: `${pageOf(feeder)}/${said === "asRefill" ? "refill" : "settings"}`,
    rank: faultKinds.length + 1,
  }));

const pageOf = ({ id }: Pick<DigestFeeder, "id">): string => `/feeders/${encodeURIComponent(id)}`;

/** What the keeper shelved and comes back today, and what is out of service until somebody says otherwise. */
function setAsideLines(feeders: readonly DigestFeeder[], zone: string, now: Instant): readonly string[] {
  const today = localDateOf(now, zone);
  const out = feeders.flatMap((feeder) =>
    faultKinds
      .filter((kind) => feeder.state.alarms[kind]?.phase === "outOfService")
      .map((kind) => `${ruleOf(kind).title} (${nameOf(feeder)})`),
  );
  const outLine = out.length === 0 ? [] : [`Out of service: ${listed(out)}.`];
  const shelved = feeders.flatMap((feeder) =>
    faultKinds.flatMap((kind) => {
      const alarm = feeder.state.alarms[kind];
      if (alarm?.phase !== "shelved" || localDateOf(alarm.shelvedUntil, zone) !== today) return [];
      return [
        `${nameOf(feeder)}: ${ruleOf(kind).title} is shelved until ${localTimeOf(alarm.shelvedUntil, zone)} today.`,
      ];
    }),
  );
  return [...shelved, ...outLine];
}
