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
/** The server's patrol looks three times a minute, at :00, :20 and :40. */
const checkInterval = seconds(20);
/** No feeder rests for so long; a time that is so far off is a slip, and would be walked through look by look. */
const gapMax = days(1_000);

/**
 * Lives a log through in virtual time: every line is a fact, taken by the very steps that the server takes. Patrol looks when
 * the log says so or, where it doesn't tell of looks, when it would have looked. What is kept is one state a feeder, however
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
    this.#passUntil(at);
    this.#now = at;
    this.tally.passed(at);

    const known = this.#feeders.get(line.feeder);
    const feeder = known ?? this.#add(line);
    switch (line.kind) {
      case "report":
        return this.#hear(feeder, line.report, line.bootNumber, at);
      case "refused":
        this.#do(feeder, { refused: line.problem }, at);
        return [];
      case "settings":
        if (!known) return []; // it was added with them
        this.#do(known, { settings: line.settings }, at);
        known.reportHopperAt = this.#nextTelling(known.state.settings, at); // its midnight may have moved
        this.#expect(known);
        return [];
      case "keeper":
        this.#do(feeder, { keeper: line.act }, at);
        return [];
      case "orders":
        this.#do(feeder, { orders: "sent" }, at);
        return [];
      case "check":
        feeder.checksAreLogged = true;
        feeder.checkAt = never;
        if (line.check === "checked") this.#learn(feeder, { kind: "minutePassed" }, at);
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
  #passUntil(at: Instant): void {
    while (this.#due <= at) {
      const now = this.#due;
      for (const feeder of this.#feeders.values()) {
        if (feeder.checkAt <= now) this.#learn(feeder, { kind: "minutePassed" }, now);
      }
      for (const feeder of this.#feeders.values()) {
        if (feeder.reportHopperAt <= now) this.#tell(feeder, now);
      }
      this.#due = never;
      for (const feeder of this.#feeders.values()) this.#expect(feeder);
    }
  }

  #expect({ checkAt, reportHopperAt }: ReplayedFeeder): void {
    this.#due = earlier(this.#due, earlier(checkAt, reportHopperAt));
  }

  // --- facts -----------------------------------------------------------------------------------------------------------

  #add({ feeder, at, ...line }: LogLine): ReplayedFeeder {
    const base = defaultSettings({ practice: false, place: null, zone: "UTC" }, feeder);
    const mine = withLoggedSettings(base, this.#options.settings);
    const settings = line.kind === "settings" ? withLoggedSettings(mine, line.settings) : mine;
    const state = newFeeder(settings, at);
    // The server, too, looks at a new feeder with its next patrol: after it was added, or the log could not say first that it tells.
    const replayed: ReplayedFeeder = {
      id: feeder,
      state,
      seen: new SeenNumbers(),
      boots: new LoggedBoots(),
      lastHeardAt: null,
      checkAt: nextCheckFrom(after(at, milliseconds(1))),
      checksAreLogged: false,
      reportHopperAt: this.#nextTelling(settings, at),
    };
    this.#feeders.set(feeder, replayed);
    this.tally.added();
    this.#expect(replayed);
    return replayed;
  }

  #hear(feeder: ReplayedFeeder, report: PostedReport, told: number | undefined, at: Instant): readonly FieldProblem[] {
    const recalled = feeder.boots.of(report.boot);
    const life = told ?? bootNumberByClock(mergeStoredBoots(feeder.state, recalled), report, at);
    if (life === null) {
      const problem = "fits no start that used this id and can't be a new one, which the server refuses";
      return [{ field: "report.boot", problem }];
    }
    const ofLife = { ...report, boot: numberedBoot(report.boot, life) };
    const { fresh, duplicates } = feeder.seen.sort(ofLife);
    const taken = takeReport(startReplayUpdate(feeder), ofLife, fresh, at, recalled);
    feeder.boots.note(ofLife, fresh, at);
    this.tally.reported({ events: fresh.length, duplicates, refused: report.refused.length });
    this.#keep(feeder, taken.feeder, at);
    return [];
  }

  #do(feeder: ReplayedFeeder, request: LogEntry, at: Instant): void {
    this.#learn(feeder, factOf(request, at, feeder.state.settings), at);
  }

  #learn(feeder: ReplayedFeeder, fact: Fact, at: Instant): void {
    this.#keep(feeder, applyFact(startReplayUpdate(feeder), fact, at), at);
  }

  #keep(feeder: ReplayedFeeder, { state, effects, lastReportAt }: FeederUpdate, at: Instant): void {
    const before = feeder.state.alarms;
    feeder.state = state;
    feeder.lastHeardAt = lastReportAt;
    if (!feeder.checksAreLogged) feeder.checkAt = nextCheckFrom(nextCheckAt(state, at));
    this.#expect(feeder);
    for (const effect of effects) {
      if (effect.kind !== "alarmChanged") continue; // orders and notices are in the alarms' story already
      const { change } = effect;
      this.tally.changed(feeder.id, change, before[change.fault]);
      const { fault, from, to, priority, reason, present } = change;
      // Whoever reads phases must not take a fault's coming and going for an arrow of its alarm.
      const request = from === to ? { present } : { phase: to };
      this.#options.output({ at: isoOf(change.at), feeder: feeder.id, alarm: fault, ...request, priority, reason });
    }
  }

  // --- what is told besides alarms ---------------------------------------------------------------------------------------

  #tell(feeder: ReplayedFeeder, now: Instant): void {
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
    feeder.reportHopperAt = this.#nextTelling(settings, now);
  }

  #nextTelling({ zone }: FeederSettings, now: Instant): Instant {
    const today = localDateOf(now, zone);
    const midnight = startOfLocalDay(addLocalDays(today, 1), zone);
    if (!this.#options.hourly) return midnight;
    // Full hours by the yard's own clock, which in some zones are half past by others.
    const begun = startOfLocalDay(today, zone);
    const fullHour = after(begun, hours(Math.floor(inHours(between(begun, now))) + 1));
    return earlier(midnight, fullHour);
  }
}

/** Where the log doesn't say which start a report is of; null where the clocks can't tell either. */
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
  checkAt: Instant; // when patrol looks, if nothing happens before
  checksAreLogged: boolean; // from then on patrol looks when the log says so
  reportHopperAt: Instant; // when its hopper is told
}

const startReplayUpdate = ({ id, state, lastHeardAt }: ReplayedFeeder): FeederUpdate =>
  startUpdate({ id, yard: "", state, lastReportAt: lastHeardAt, lastStepAt: null });

const nextCheckFrom = (at: Instant): Instant => (Math.ceil(at / checkInterval) * checkInterval) as Instant;

const tenths = (mass: number): number => Math.round(mass * 10) / 10;
