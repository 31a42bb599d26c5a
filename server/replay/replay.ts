import type { LoggedSettings } from "../contract/feederLog.ts";
import type { FieldProblem } from "../contract/fieldProblem.ts";
import type { PostedReport } from "../contract/readReport.ts";
import { nextCheckAt } from "../domain/advanceFeeder.ts";
import { bootByClock, knownBootNumbers } from "../domain/bootByClock.ts";
import { numberedBoot } from "../domain/bootNumber.ts";
import type { Effect } from "../domain/effects.ts";
import type { Fact } from "../domain/facts.ts";
import { type FeederState, newFeeder } from "../domain/feeder.ts";
import { initialRollups, type Rollups } from "../domain/history/rollups.ts";
import { forecastEmpty } from "../domain/hopper/emptyForecast.ts";
import { hopperLevel } from "../domain/hopper/level.ts";
import {
  after,
  between,
  days,
  earlier,
  hours,
  type Instant,
  inDays,
  inHours,
  isoOf,
  milliseconds,
  minutes,
  seconds,
} from "../domain/instant.ts";
import { addLocalDays, localDateOf, startOfLocalDay } from "../domain/localTime.ts";
import type { FeederSettings } from "../domain/settings.ts";
import { mergeStoredBoots } from "../domain/storedBoots.ts";
import { applyFact, type FeederUpdate, startUpdate } from "../flows/pure/feederUpdate.ts";
import { factOf, type LogEntry } from "../flows/pure/logEntry.ts";
import { withLoggedSettings } from "../flows/pure/loggedSettings.ts";
import { defaultSettings } from "../flows/pure/requestedSettings.ts";
import { takeReport } from "../flows/pure/takeReport.ts";
import { DetectionCounts } from "./detectionCounts.ts";
import { LoggedBoots } from "./loggedBoots.ts";
import type { LogLine } from "./logLine.ts";
import { SeenNumbers } from "./seenNumbers.ts";

export interface ReplayOptions {
  /** For feeders whose settings are not in the log. */
  readonly settings: LoggedSettings;
  readonly hourly: boolean;
  /** Takes each line of the result, in time order. */
  readonly output: (line: object) => void;
  /** In place of those in the log, throughout; what it leaves out is as in the log. */
  readonly override?: LoggedSettings;
  /**
   * `whenDue`: besides those of the log, also when these settings and this version make them due. But none while the log shows that
   * the server was off.
   */
  readonly checks?: "asLogged" | "whenDue";
  /** What each step leads to. */
  readonly onStep?: (step: ReplayedStep) => void;
}

export interface ReplayedStep {
  readonly feeder: string;
  readonly before: FeederState;
  readonly effects: readonly Effect[];
}

const never = Number.POSITIVE_INFINITY as Instant;
/** The server checks three times a minute, at :00, :20 and :40. */
const checkInterval = seconds(20);
/** A server checks each feeder at least every ten minutes. A log without a line for longer is of one that was off. */
const serverGapMax = minutes(15);
/** No feeder rests for so long. A time so far off is a mistake, and a check would be made for each minute until then. */
const gapMax = days(1_000);

/**
 * Replays a log in virtual time: every line is a fact, handled by the same steps as in the server. Checks are made when the log
 * has them or, where it has none, when the server would have made them. Only one state a feeder is in memory, however long the log.
 */
export class Replay {
  readonly counts = new DetectionCounts();
  readonly #options: ReplayOptions;
  readonly #override: LoggedSettings | null;
  readonly #feeders = new Map<string, ReplayedFeeder>();
  #now: Instant | null = null;
  /** Nothing is due before this: a lower bound, so that most lines need not check every feeder. */
  #due = never;

  constructor(options: ReplayOptions) {
    this.#options = options;
    const { override = null } = options;
    // Sensors that were entered are not detected any more, whatever the log says.
    this.#override = override?.sensors === undefined ? override : { detectsSensors: false, ...override };
  }

  /** @returns the problems of a line, which then changed nothing; [] where it was taken. */
  take(line: LogLine): readonly FieldProblem[] {
    const { at } = line;
    const problem = this.#timeProblem(at);
    if (problem !== null) return [{ field: line.kind === "report" ? "receivedAt" : "at", problem }];
    this.#skipOutage(at);
    this.#advanceTo(at);
    this.#now = at;
    this.counts.advanceTo(at);
    const known = this.#feeders.get(line.feeder);
    return known === undefined ? this.#takeFirst(line) : this.#takeOf(known, line);
  }

  /** Goes on from a stored state in place of a feeder's first line. Its log has all checks. */
  begin(feeder: string, { state, rollups }: Pick<FeederUpdate, "state" | "rollups">, at: Instant): void {
    this.#now = at;
    const replayed = this.#addState(feeder, state, rollups, at);
    replayed.checksAreLogged = true;
    replayed.checkAt = this.#makesAllChecks ? nextCheckFrom(nextCheckAt(state, at)) : never;
    if (this.#override !== null) this.#applyEntry(replayed, { settings: this.#override }, at);
    this.#schedule(replayed);
  }

  get #makesAllChecks(): boolean {
    return this.#options.checks === "whenDue";
  }

  #timeProblem(at: Instant): string | null {
    if (this.#now === null) return null;
    if (at < this.#now) {
      return `is ${isoOf(at)}, before ${isoOf(this.#now)} of a line above: a log is in time order`;
    }
    return at > after(this.#now, gapMax)
      ? `is ${isoOf(at)}, more than ${inDays(gapMax)} days after the line above`
      : null;
  }

  /** A feeder's first line adds it, with the settings if the line has them. */
  #takeFirst(line: LogLine): readonly FieldProblem[] {
    const feeder = this.#add(line);
    return line.kind === "settings" ? [] : this.#takeOf(feeder, line);
  }

  #takeOf(feeder: ReplayedFeeder, line: LogLine): readonly FieldProblem[] {
    const { at } = line;
    switch (line.kind) {
      case "report":
        return this.#takeReport(feeder, line.report, line.bootNumber, at);
      case "refused":
        this.#applyEntry(feeder, { refused: line.problem }, at);
        return [];
      case "settings":
        this.#applyEntry(feeder, { settings: { ...line.settings, ...this.#override } }, at);
        feeder.reportHopperAt = this.#nextHopperReport(feeder.state.settings, at); // its midnight may have moved
        this.#schedule(feeder);
        return [];
      case "keeper":
        this.#applyEntry(feeder, { keeper: line.act }, at);
        return [];
      case "orders":
        this.#applyEntry(feeder, { orders: "sent" }, at);
        return [];
      case "check":
        feeder.checksAreLogged = true;
        feeder.checkAt = never;
        if (line.check === "checked") this.#applyFact(feeder, { kind: "minutePassed" }, at);
        return [];
      case "missing":
        return []; // nothing happened then
      case "truth":
        this.counts.countTruth(line.feeder, line, feeder.state.alarms[line.fault]);
        return [];
    }
  }

  /** The state after the last line; null for a feeder that is not in the log. */
  stateOf(feeder: string): FeederState | null {
    return this.#feeders.get(feeder)?.state ?? null;
  }

  /** The same with the roll-ups that are not closed by then. */
  steppedState(feeder: string): Pick<FeederUpdate, "state" | "rollups"> | null {
    const replayed = this.#feeders.get(feeder);
    return replayed === undefined ? null : { state: replayed.state, rollups: replayed.rollups };
  }

  // --- time ------------------------------------------------------------------------------------------------------------

  /** A server that was off checked nothing; when it is back, it does with its next tick. */
  #skipOutage(at: Instant): void {
    if (this.#now === null || at <= after(this.#now, serverGapMax)) return;
    for (const feeder of this.#feeders.values()) {
      if (feeder.checksAreLogged && feeder.checkAt < at) feeder.checkAt = nextCheckFrom(after(at, milliseconds(1)));
    }
  }

  /** What is due at the moment of a line comes before the line. */
  #advanceTo(at: Instant): void {
    while (this.#due <= at) {
      const now = this.#due;
      for (const feeder of this.#feeders.values()) {
        if (feeder.checkAt <= now) this.#applyFact(feeder, { kind: "minutePassed" }, now);
      }
      for (const feeder of this.#feeders.values()) {
        if (feeder.reportHopperAt <= now) this.#reportHopper(feeder, now);
      }
      this.#due = never;
      for (const feeder of this.#feeders.values()) this.#schedule(feeder);
    }
  }

  #schedule({ checkAt, reportHopperAt }: ReplayedFeeder): void {
    this.#due = earlier(this.#due, earlier(checkAt, reportHopperAt));
  }

  // --- facts -----------------------------------------------------------------------------------------------------------

  #add({ feeder, at, ...line }: LogLine): ReplayedFeeder {
    const base = defaultSettings({ practice: false, place: null, zone: "UTC" }, feeder);
    const defaults = withLoggedSettings(base, this.#options.settings);
    const logged = line.kind === "settings" ? withLoggedSettings(defaults, line.settings) : defaults;
    const settings = this.#override === null ? logged : withLoggedSettings(logged, this.#override);
    return this.#addState(feeder, newFeeder(settings, at), initialRollups(), at);
  }

  #addState(feeder: string, state: FeederState, rollups: Rollups, at: Instant): ReplayedFeeder {
    // The server, too, first checks a new feeder after it was added, or the log could not state before that it has all checks.
    const replayed: ReplayedFeeder = {
      id: feeder,
      state,
      rollups,
      seen: new SeenNumbers(),
      boots: new LoggedBoots(),
      lastReportAt: null,
      checkAt: nextCheckFrom(after(at, milliseconds(1))),
      checksAreLogged: false,
      reportHopperAt: this.#nextHopperReport(state.settings, at),
    };
    this.#feeders.set(feeder, replayed);
    this.counts.addFeeder();
    this.#schedule(replayed);
    return replayed;
  }

  #takeReport(
    feeder: ReplayedFeeder,
    report: PostedReport,
    stated: number | undefined,
    at: Instant,
  ): readonly FieldProblem[] {
    const recalled = feeder.boots.of(report.boot);
    const number = stated ?? bootNumberByClock(mergeStoredBoots(feeder.state, recalled), report, at);
    if (number === null) {
      const problem = "fits no start that used this id and can't be a new one, which the server refuses";
      return [{ field: "report.boot", problem }];
    }
    const numbered = { ...report, boot: numberedBoot(report.boot, number) };
    const { newEvents, duplicates } = feeder.seen.sort(numbered);
    const taken = takeReport(startReplayUpdate(feeder), numbered, newEvents, at, recalled);
    feeder.boots.record(numbered, newEvents, at);
    this.counts.countReport({ events: newEvents.length, duplicates, refused: report.refused.length });
    this.#save(feeder, taken.feeder, at);
    return [];
  }

  #applyEntry(feeder: ReplayedFeeder, entry: LogEntry, at: Instant): void {
    this.#applyFact(feeder, factOf(entry, at, feeder.state.settings), at);
  }

  #applyFact(feeder: ReplayedFeeder, fact: Fact, at: Instant): void {
    this.#save(feeder, applyFact(startReplayUpdate(feeder), fact, at), at);
  }

  #save(feeder: ReplayedFeeder, { state, rollups, effects, lastReportAt }: FeederUpdate, at: Instant): void {
    const before = feeder.state;
    feeder.state = state;
    feeder.rollups = rollups;
    feeder.lastReportAt = lastReportAt;
    if (!feeder.checksAreLogged || this.#makesAllChecks) feeder.checkAt = nextCheckFrom(nextCheckAt(state, at));
    this.#schedule(feeder);
    if (effects.length > 0) this.#options.onStep?.({ feeder: feeder.id, before, effects });
    for (const effect of effects) {
      if (effect.kind !== "alarmChanged") continue; // orders and notifications follow from the alarms
      const { change } = effect;
      this.counts.countChange(feeder.id, change, before.alarms[change.fault]);
      const { fault, from, to, priority, reason, present } = change;
      // A fault may come and go without a change of its alarm's state.
      const stateOrPresence = from === to ? { present } : { state: to };
      this.#options.output({
        at: isoOf(change.at),
        feeder: feeder.id,
        alarm: fault,
        ...stateOrPresence,
        priority,
        reason,
      });
    }
  }

  // --- what is put out besides alarms ---------------------------------------------------------------------------------------

  #reportHopper(feeder: ReplayedFeeder, now: Instant): void {
    const { hopper, settings } = feeder.state;
    const level = hopperLevel(hopper, settings);
    const forecast = forecastEmpty(hopper, settings, now);
    const moment = (at: "p10" | "p50" | "p90") => (forecast.kind === "emptyAt" ? isoOf(forecast[at]) : null);
    this.#options.output({
      at: isoOf(now),
      feeder: feeder.id,
      hopper: level && { grams: tenths(level.grams), low: tenths(level.low), high: tenths(level.high) },
      empty: { p10: moment("p10"), p50: moment("p50"), p90: moment("p90") },
    });
    feeder.reportHopperAt = this.#nextHopperReport(settings, now);
  }

  #nextHopperReport({ zone }: FeederSettings, now: Instant): Instant {
    const today = localDateOf(now, zone);
    const midnight = startOfLocalDay(addLocalDays(today, 1), zone);
    if (!this.#options.hourly) return midnight;
    // Full hours by the yard's own clock, which in some zones are half past by others.
    const begun = startOfLocalDay(today, zone);
    const fullHour = after(begun, hours(Math.floor(inHours(between(begun, now))) + 1));
    return earlier(midnight, fullHour);
  }
}

/** Where the log doesn't state which start a report is of; null where the clocks can't decide either. */
function bootNumberByClock(
  { clock, eventSequence }: Pick<FeederState, "clock" | "eventSequence">,
  { boot, sentUptime }: PostedReport,
  at: Instant,
): number | null {
  const bootNumbers = knownBootNumbers(clock, eventSequence, boot);
  const [newest = 1] = bootNumbers;
  const decision = bootByClock(clock, boot, bootNumbers, sentUptime, at);
  switch (decision.kind) {
    case "known":
      return decision.bootNumber;
    case "fromEarlierBoot":
    case "newUnlessContinued":
      return newest;
    case "new":
    case "newUnlessRepeated":
      return newest + 1;
    case "unclear":
      return null;
  }
}

/** A feeder at the virtual present. */
interface ReplayedFeeder {
  readonly id: string;
  state: FeederState;
  rollups: Rollups;
  readonly seen: SeenNumbers;
  readonly boots: LoggedBoots;
  lastReportAt: Instant | null;
  checkAt: Instant; // of the next periodic check, if nothing happens before
  checksAreLogged: boolean; // from then on checks are made when the log says so
  reportHopperAt: Instant; // when its hopper is put out next
}

const startReplayUpdate = ({ id, state, rollups, lastReportAt }: ReplayedFeeder): FeederUpdate =>
  startUpdate({ id, yard: "", revision: 0, state, rollups, lastReportAt, lastStepAt: null });

const nextCheckFrom = (at: Instant): Instant => (Math.ceil(at / checkInterval) * checkInterval) as Instant;

const tenths = (mass: number): number => Math.round(mass * 10) / 10;
