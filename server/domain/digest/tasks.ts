import { type FaultKind, faultKinds, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { wantsRefill } from "../hopper/hopperFaults.ts";
import { runOutWords } from "../hopper/runOut.ts";
import type { Instant } from "../instant.ts";
import { localDateOf, localTimeOf, momentWords } from "../localTime.ts";
import { type DigestFeeder, nameOf, standingFaults } from "./digestFeeder.ts";
import { forecastOf } from "./foodLeft.ts";
import { listed } from "./screenful.ts";

export interface Tasks {
  readonly count: number; // things that ask for an act
  /** These, the gravest first; then what the keeper set aside and ought to remember. */
  readonly lines: readonly string[];
}

interface Task {
  readonly words: string;
  readonly rank: number; // the gravest fault first
}

/** Refill, clean, look: what a keeper should do today. */
export function tasksOf(feeders: readonly DigestFeeder[], zone: string, now: Instant): Tasks {
  const tasks = feeders.flatMap((feeder) => [...alarmTasks(feeder, zone, now), ...refillTask(feeder, zone, now)]);
  tasks.sort((a, b) => a.rank - b.rank);
  const unheard = feeders.filter(({ state }) => state.link.kind === "neverHeard");
  const connect = unheard.length === 0 ? [] : [`${listed(unheard.map(nameOf))}: not yet connected.`];
  return {
    count: tasks.length,
    lines: [...tasks.map(({ words }) => words), ...connect, ...setAsideLines(feeders, zone, now)],
  };
}

function alarmTasks(feeder: DigestFeeder, zone: string, now: Instant): readonly Task[] {
  return standingFaults(feeder.state).map((kind) => ({
    words: `${nameOf(feeder)}: ${ruleOf(kind).title}${sinceWords(feeder.state, kind, zone, now)}. ${ruleOf(kind).act}`,
    rank: faultKinds.indexOf(kind),
  }));
}

function sinceWords({ alarms }: FeederState, kind: FaultKind, zone: string, now: Instant): string {
  const since = alarms[kind]?.since;
  return since === undefined ? "" : ` since ${momentWords(since, zone, now)}`;
}

/** Faults whose remedy is a refill, or which hide whether one is needed. */
const asksForFood = (kind: FaultKind): boolean =>
  kind === "foodOut" || kind === "foodLow" || kind === "feedStopped" || kind === "feederSilent";

function refillTask(feeder: DigestFeeder, zone: string, now: Instant): readonly Task[] {
  if (standingFaults(feeder.state).some(asksForFood)) return [];
  const forecast = forecastOf(feeder, now);
  const { hopper, settings } = feeder.state;
  if (forecast.kind !== "emptyAt" || !wantsRefill(hopper, settings, now)) return [];
  const words = `${nameOf(feeder)}: refill today, ${runOutWords(forecast, zone, now)}.`;
  return [{ words, rank: faultKinds.indexOf("foodLow") }];
}

/** What the keeper shelved and comes back today. */
function setAsideLines(feeders: readonly DigestFeeder[], zone: string, now: Instant): readonly string[] {
  const today = localDateOf(now, zone);
  return feeders.flatMap((feeder) =>
    faultKinds.flatMap((kind) => {
      const alarm = feeder.state.alarms[kind];
      if (alarm?.phase !== "shelved" || localDateOf(alarm.shelvedUntil, zone) !== today) return [];
      return [
        `${nameOf(feeder)}: ${ruleOf(kind).title} is shelved until ${localTimeOf(alarm.shelvedUntil, zone)} today.`,
      ];
    }),
  );
}
