import type { LoggedSettings } from "../contract/feederLog.ts";
import type { FieldProblem } from "../contract/fieldProblem.ts";
import type { PostedReport } from "../contract/readReport.ts";
import { nextCheckAt } from "../domain/advanceFeeder.ts";
import { bootByClock, knownBootNumbers } from "../domain/bootByClock.ts";
import { numberedBoot } from "../domain/bootNumber.ts";
import type { Fact } from "../domain/facts.ts";
import { type FeederState, newFeeder } from "../domain/feeder.ts";
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
  /** For feeders of which the log itself doesn't say better. */
  readonly settings: LoggedSettings;
  readonly hourly: boolean;
  /** Takes each line of what came of it, in time order. */
  readonly output: (line: object) => void;
}

const never = Number.POSITIVE_INFINITY as Instant;
/** The server checks three times a minute, at :00, :20 and :40. */
const checkInterval = seconds(20);
/** No feeder rests for so long; a time that is so far off is a slip, and would be walked through check by check. */
const gapMax = days(1_000);

/**
 * Replays a log in virtual time: every line is a fact, taken by the same steps that the server takes. Checks are made when
 * the log has them or, where it has none, when the server would have made them. What is kept is one state a feeder, however
 * long the log.
 */
export class Replay {
  readonly tally = new DetectionCounts();
  readonly #options: ReplayOptions;
  readonly #feeders = new Map<string, ReplayedFeeder>();
  #now: Instant | null = null;
  /** Nothing is due before this: a lower bound, so that most lines need not ask every feeder. */
  #due = never;

  constructor(options: ReplayOptions) {
    this.#options = options;
  }

  /** @returns what was wrong with the line, which then changed nothing; [] where it was taken. */
  // Long: one case for each kind of line.
  take(line: LogLine): readonly FieldProblem[] {
    const field = line.kind === "report" ? "receivedAt" : "at";
    const { at } = line;
    if (this.#now !== null && at < this.#now) {
      return [
        { field, problem: `is ${isoOf(at)}, before ${isoOf(this.#now)} of a line above: a log is in time order` },
      ];
    }
    if (this.#now !== null && at > after(this.#now, gapMax)) {
      return [{ field, problem: `is ${isoOf(at)}, more than ${inDays(gapMax)} days after the line above` }];
    }
    this.#advanceTo(at);
    this.#now = at;
    this.tally.passed(at);

    const known = this.#feeders.get(line.feeder);
    const feeder = known ?? this.#add(line);
    switch (line.kind) {
      case "report":
        return this.#takeReport(feeder, line.report, line.bootNumber, at);
      case "refused":
        this.#applyEntry(feeder, { refused: line.problem }, at);
        return [];
      case "settings":
        if (!known) return []; // it was added with them
        this.#applyEntry(known, { settings: line.settings }, at);
        known.reportHopperAt = this.#nextHopperReport(known.state.settings, at); // its midnight may have moved
        this.#schedule(known);
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
      case "truth":
        this.tally.truth(line.feeder, line, feeder.state.alarms[line.fault]);
        return [];
    }
  }

  /** As it stands after the last line; null for a feeder that the log doesn't know. */
  stateOf(feeder: string): FeederState | null {
    return this.#feeders.get(feeder)?.state ?? null;
  }

  // --- time ------------------------------------------------------------------------------------------------------------

  /** What falls on the very moment of a line comes before the line. */
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
    const mine = withLoggedSettings(base, this.#options.settings);
    const settings = line.kind === "settings" ? withLoggedSettings(mine, line.settings) : mine;
    const state = newFeeder(settings, at);
    // The server, too, first checks a new feeder after it was added, or the log could not state before that it holds all checks.
    const replayed: ReplayedFeeder = {
      id: feeder,
      state,
      seen: new SeenNumbers(),
      boots: new LoggedBoots(),
      lastHeardAt: null,
      checkAt: nextCheckFrom(after(at, milliseconds(1))),
      checksAreLogged: false,
      reportHopperAt: this.#nextHopperReport(settings, at),
    };
    this.#feeders.set(feeder, replayed);
    this.tally.added();
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
    const { fresh, duplicates } = feeder.seen.sort(numbered);
    const taken = takeReport(startReplayUpdate(feeder), numbered, fresh, at, recalled);
    feeder.boots.note(numbered, fresh, at);
    this.tally.reported({ events: fresh.length, duplicates, refused: report.refused.length });
    this.#save(feeder, taken.feeder, at);
    return [];
  }

  #applyEntry(feeder: ReplayedFeeder, request: LogEntry, at: Instant): void {
    this.#applyFact(feeder, factOf(request, at, feeder.state.settings), at);
  }

  #applyFact(feeder: ReplayedFeeder, fact: Fact, at: Instant): void {
    this.#save(feeder, applyFact(startReplayUpdate(feeder), fact, at), at);
  }

  #save(feeder: ReplayedFeeder, { state, effects, lastReportAt }: FeederUpdate, at: Instant): void {
    const before = feeder.state.alarms;
    feeder.state = state;
    feeder.lastHeardAt = lastReportAt;
    if (!feeder.checksAreLogged) feeder.checkAt = nextCheckFrom(nextCheckAt(state, at));
    this.#schedule(feeder);
    for (const effect of effects) {
      if (effect.kind !== "alarmChanged") continue; // orders and notifications follow from the alarms
      const { change } = effect;
      this.tally.changed(feeder.id, change, before[change.fault]);
      const { fault, from, to, priority, reason, present } = change;
      // A fault that comes and goes is no transition of its alarm's state.
      const request = from === to ? { present } : { phase: to };
      this.#options.output({ at: isoOf(change.at), feeder: feeder.id, alarm: fault, ...request, priority, reason });
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

/** A feeder as it stands in the virtual now. */
interface ReplayedFeeder {
  readonly id: string;
  state: FeederState;
  readonly seen: SeenNumbers;
  readonly boots: LoggedBoots;
  lastHeardAt: Instant | null;
  checkAt: Instant; // of the next periodic check, if nothing happens before
  checksAreLogged: boolean; // from then on checks are made when the log says so
  reportHopperAt: Instant; // when its hopper is put out next
}

const startReplayUpdate = ({ id, state, lastHeardAt }: ReplayedFeeder): FeederUpdate =>
  startUpdate({ id, yard: "", state, lastReportAt: lastHeardAt, lastStepAt: null });

const nextCheckFrom = (at: Instant): Instant => (Math.ceil(at / checkInterval) * checkInterval) as Instant;

const tenths = (mass: number): number => Math.round(mass * 10) / 10;
