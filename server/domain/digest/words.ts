import { type FaultKind, faultKinds, ruleOf } from "../faults.ts";
import type { FeederState } from "../feeder.ts";
import { roundedGrams } from "../hopper/amount.ts";
import { wantsRefill } from "../hopper/hopperFaults.ts";
import { levelOf } from "../hopper/level.ts";
import { type EmptyForecast, forecastEmpty, runOutWords } from "../hopper/runOut.ts";
import type { Instant } from "../instant.ts";
import { dayWords, type LocalDate, localDateOf, momentWords } from "../localTime.ts";
import { isPaused } from "../orders/lifeCycle.ts";

/** A yard's day in words: a title and a screenful of lines, what needs the keeper first. */
export interface Digest {
  readonly title: string;
  readonly lines: readonly string[];
}

export interface DigestYard {
  readonly name: string;
  readonly zone: string;
  readonly practice: boolean;
}

/** Events by kind and alarms raised, over one span of time. */
export interface DayCounts {
  readonly visits: number;
  readonly presses: number;
  readonly deposits: number;
  readonly portions: number;
  readonly alarmsRaised: number;
}

export interface DigestFeeder {
  readonly name: string;
  readonly state: FeederState;
  /** Since the last digest's time. */
  readonly tally: DayCounts;
}

/** A screenful on a phone. */
const tasksMax = 8;
const linesMax = 14;

/**
 * What a keeper wants to know at breakfast. `date` is the local date of the digest. Where there is nothing to do or nothing
 * happened, that is said too: a digest that stays away would leave the keeper guessing whether all is well.
 */
export function digestOf(yard: DigestYard, feeders: readonly DigestFeeder[], date: LocalDate, now: Instant): Digest {
  const tasks = feeders.flatMap((feeder) => tasksAt(feeder, yard.zone, now)).sort((a, b) => a.rank - b.rank);
  const shown = tasks.slice(0, tasksMax).map((task) => task.words);
  if (tasks.length > tasksMax) shown.push(`And ${things(tasks.length - tasksMax)} more to do.`);
  const told = feeders.map((feeder) => feederLine(feeder, yard.zone, now));
  return {
    title: `${yard.practice ? "Practice – " : ""}${yard.name}, ${titleWords(feeders, tasks.length, date, yard.zone, now)}`,
    lines: feeders.length === 0 ? ["There is no feeder in this yard yet."] : [...shown, ...fitted(told, shown.length)],
  };
}

function titleWords(
  feeders: readonly DigestFeeder[],
  tasks: number,
  date: LocalDate,
  zone: string,
  now: Instant,
): string {
  const day = dayWords(date, localDateOf(now, zone));
  if (feeders.length === 0) return `${day}: no feeder yet`;
  return tasks === 0 ? `${day}: nothing to do` : `${day}: ${things(tasks)} to do`;
}

const things = (count: number): string => (count === 1 ? "1 thing" : `${count} things`);

function fitted(told: readonly string[], taken: number): readonly string[] {
  const room = linesMax - taken;
  if (told.length <= room) return told;
  const left = told.length - (room - 1);
  return [...told.slice(0, room - 1), `And ${left} more feeders, each on its own page.`];
}

// --- what to do ------------------------------------------------------------------------------------------------------

interface Task {
  readonly words: string;
  readonly rank: number; // the gravest fault first
}

function tasksAt(feeder: DigestFeeder, zone: string, now: Instant): readonly Task[] {
  const standing = faultKinds.filter((kind) => isStanding(feeder.state, kind));
  const alarms = standing.map((kind) => ({
    words: `${nameOf(feeder)}: ${ruleOf(kind).title}${sinceWords(feeder.state, kind, zone, now)}. ${ruleOf(kind).act}`,
    rank: faultKinds.indexOf(kind),
  }));
  return standing.some(asksForFood) ? alarms : [...alarms, ...refillTask(feeder, zone, now)];
}

/** Told to the keeper and still so, acknowledged or not; what the keeper put aside until later is not asked for again. */
function isStanding({ alarms }: FeederState, kind: FaultKind): boolean {
  const phase = alarms[kind]?.phase;
  return phase === "unacknowledged" || phase === "acknowledged";
}

function sinceWords({ alarms }: FeederState, kind: FaultKind, zone: string, now: Instant): string {
  const since = alarms[kind]?.since;
  return since === undefined ? "" : ` since ${momentWords(since, zone, now)}`;
}

/** Faults whose remedy is a refill, or which hide whether one is needed. */
const asksForFood = (kind: FaultKind): boolean =>
  kind === "foodOut" || kind === "foodLow" || kind === "feedStopped" || kind === "feederSilent";

function refillTask(feeder: DigestFeeder, zone: string, now: Instant): readonly Task[] {
  const forecast = forecastOf(feeder, now);
  const { hopper, settings } = feeder.state;
  if (forecast.kind !== "emptyAt" || !wantsRefill(hopper, settings, now)) return [];
  const words = `${nameOf(feeder)}: refill today, ${runOutWords(forecast, zone, now)}.`;
  return [{ words, rank: faultKinds.indexOf("foodLow") }];
}

// --- how it is -------------------------------------------------------------------------------------------------------

function feederLine(feeder: DigestFeeder, zone: string, now: Instant): string {
  const { state, tally } = feeder;
  if (state.link.kind === "neverHeard") return `${nameOf(feeder)}: not yet connected.`;
  // What is believed of the food stopped being true when the feeder fell silent.
  const food = isStanding(state, "feederSilent") ? [] : [foodWords(feeder, zone, now)];
  const paused = isPaused(state.orders, now) ? ["paused."] : [];
  const [first = "", ...rest] = [...paused, ...food, birdWords(tally)];
  return `${nameOf(feeder)}: ${[first, ...rest.map(capitalised)].join(" ")}`;
}

function foodWords(feeder: DigestFeeder, zone: string, now: Instant): string {
  const level = levelOf(feeder.state.hopper, feeder.state.settings);
  const runOut = runOutWords(forecastOf(feeder, now), zone, now);
  if (level === null || feeder.state.hopper.emptySince !== null) return `${runOut}.`;
  return `about ${roundedGrams(level.grams)} left, ${runOut}.`;
}

/** Only what was counted is named: a feeder without a perch sensor had no "0 visits". */
function birdWords(tally: DayCounts): string {
  const said = [
    counted(tally.visits, "visit"),
    counted(tally.presses, "press", "presses"),
    counted(tally.deposits, "deposit"),
    counted(tally.portions, "portion"),
    counted(tally.alarmsRaised, "alarm"),
  ].filter((words) => words !== null);
  return said.length === 0 ? "nothing happened since yesterday." : `since yesterday ${said.join(", ")}.`;
}

const counted = (count: number, one: string, many = `${one}s`): string | null =>
  count === 0 ? null : `${count} ${count === 1 ? one : many}`;

const nameOf = ({ name, state }: DigestFeeder): string => (state.settings.practice ? `${name} (practice)` : name);

const forecastOf = ({ state }: DigestFeeder, now: Instant): EmptyForecast =>
  forecastEmpty(state.hopper, state.settings, now);

const capitalised = (words: string): string => words.charAt(0).toUpperCase() + words.slice(1);
