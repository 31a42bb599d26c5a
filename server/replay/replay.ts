import type { LoggedSettings } from "../contract/feederLog.ts";
import type { FieldProblem } from "../contract/fieldProblem.ts";
import type { PostedReport } from "../contract/readReport.ts";
import { nextLookAt } from "../domain/advanceFeeder.ts";
import { bootOfLife } from "../domain/bootLife.ts";
import type { Fact } from "../domain/facts.ts";
import { type FeederState, newFeeder } from "../domain/feeder.ts";
import { levelOf } from "../domain/hopper/level.ts";
import { forecastEmpty } from "../domain/hopper/runOut.ts";
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
import { judgeByClock, livesOf } from "../domain/lifeByClock.ts";
import { addLocalDays, localDateOf, startOfLocalDay } from "../domain/localTime.ts";
import type { FeederSettings } from "../domain/settings.ts";
import { withStored } from "../domain/storedBoots.ts";
import { type Advanced, advanced, begin } from "../flows/pure/advanced.ts";
import { factOf, type SaidAct } from "../flows/pure/loggedActs.ts";
import { withLogged } from "../flows/pure/loggedSettings.ts";
import { usualSettings } from "../flows/pure/saidSettings.ts";
import { takeReport } from "../flows/pure/takeReport.ts";
import type { LogLine } from "./logLine.ts";
import { SeenNumbers } from "./seenNumbers.ts";
import { Tally } from "./tally.ts";
import { ToldBoots } from "./toldBoots.ts";

export interface ReplayOptions {
  /** For feeders of which the log itself doesn't say better. */
  readonly settings: LoggedSettings;
  readonly hourly: boolean;
  /** Takes each line of what came of it, in time order. */
  readonly say: (line: object) => void;
}

const never = Number.POSITIVE_INFINITY as Instant;
/** The server's patrol looks three times a minute, at :00, :20 and :40. */
const lookEvery = seconds(20);
/** No feeder rests for so long; a time that is so far off is a slip, and would be walked through look by look. */
const gapMax = days(1_000);

/**
 * Lives a log through in virtual time: every line is a fact, taken by the very steps that the server takes. Patrol looks when
 * the log says so or, where it doesn't tell of looks, when it would have looked. What is kept is one state a feeder, however
 * long the log.
 */
export class Replay {
  readonly tally = new Tally();
  readonly #options: ReplayOptions;
  readonly #feeders = new Map<string, Living>();
  #now: Instant | null = null;
  /** Nothing is due before this: a lower bound, so that most lines need not ask every feeder. */
  #due = never;

  constructor(options: ReplayOptions) {
    this.#options = options;
  }

  /** @returns what was wrong with the line, which then changed nothing; [] where it was taken. */
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
    const living = known ?? this.#add(line);
    switch (line.kind) {
      case "report":
        return this.#hear(living, line.report, line.life, at);
      case "refused":
        this.#do(living, { refused: line.problem }, at);
        return [];
      case "settings":
        if (!known) return []; // it was added with them
        this.#do(known, { settings: line.settings }, at);
        known.tellAt = this.#nextTelling(known.state.settings, at); // its midnight may have moved
        this.#expect(known);
        return [];
      case "keeper":
        this.#do(living, { keeper: line.act }, at);
        return [];
      case "orders":
        this.#do(living, { orders: "sent" }, at);
        return [];
      case "patrol":
        living.looksAreTold = true;
        living.lookAt = never;
        if (line.patrol === "looked") this.#learn(living, { kind: "minutePassed" }, at);
        return [];
      case "truth":
        this.tally.truth(line.feeder, line, living.state.alarms[line.fault]);
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
      for (const living of this.#feeders.values()) {
        if (living.lookAt <= now) this.#learn(living, { kind: "minutePassed" }, now);
      }
      for (const living of this.#feeders.values()) {
        if (living.tellAt <= now) this.#tell(living, now);
      }
      this.#due = never;
      for (const living of this.#feeders.values()) this.#expect(living);
    }
  }

  #expect({ lookAt, tellAt }: Living): void {
    this.#due = earlier(this.#due, earlier(lookAt, tellAt));
  }

  // --- facts -----------------------------------------------------------------------------------------------------------

  #add({ feeder: id, at, ...line }: LogLine): Living {
    const base = usualSettings({ practice: false, place: null, zone: "UTC" }, id);
    const mine = withLogged(base, this.#options.settings);
    const settings = line.kind === "settings" ? withLogged(mine, line.settings) : mine;
    const state = newFeeder(settings, at);
    // The server, too, looks at a new feeder with its next patrol: after it was added, or the log could not say first that it tells.
    const living: Living = {
      id,
      state,
      seen: new SeenNumbers(),
      boots: new ToldBoots(),
      lastHeardAt: null,
      lookAt: patrolFrom(after(at, milliseconds(1))),
      looksAreTold: false,
      tellAt: this.#nextTelling(settings, at),
    };
    this.#feeders.set(id, living);
    this.tally.added();
    this.#expect(living);
    return living;
  }

  #hear(living: Living, report: PostedReport, told: number | undefined, at: Instant): readonly FieldProblem[] {
    const recalled = living.boots.of(report.boot);
    const life = told ?? lifeByClock(withStored(living.state, recalled), report, at);
    if (life === null) {
      const problem = "fits no start that used this id and can't be a new one, which the server refuses";
      return [{ field: "report.boot", problem }];
    }
    const ofLife = { ...report, boot: bootOfLife(report.boot, life) };
    const { fresh, duplicates } = living.seen.sort(ofLife);
    const taken = takeReport(beginning(living), ofLife, fresh, at, recalled);
    living.boots.note(ofLife, fresh, at);
    this.tally.reported({ events: fresh.length, duplicates, refused: report.refused.length });
    this.#keep(living, taken.feeder, at);
    return [];
  }

  #do(living: Living, said: SaidAct, at: Instant): void {
    this.#learn(living, factOf(said, at, living.state.settings), at);
  }

  #learn(living: Living, fact: Fact, at: Instant): void {
    this.#keep(living, advanced(beginning(living), fact, at), at);
  }

  #keep(living: Living, { state, effects, lastHeardAt }: Advanced, at: Instant): void {
    const before = living.state.alarms;
    living.state = state;
    living.lastHeardAt = lastHeardAt;
    if (!living.looksAreTold) living.lookAt = patrolFrom(nextLookAt(state, at));
    this.#expect(living);
    for (const effect of effects) {
      if (effect.kind !== "alarmChanged") continue; // orders and notices are in the alarms' story already
      const { change } = effect;
      this.tally.changed(living.id, change, before[change.fault]);
      const { fault: alarm, from, to: phase, priority, reason, present } = change;
      // Whoever reads phases must not take a fault's coming and going for an arrow of its alarm.
      const said = from === phase ? { present } : { phase };
      this.#options.say({ at: isoOf(change.at), feeder: living.id, alarm, ...said, priority, reason });
    }
  }

  // --- what is told besides alarms ---------------------------------------------------------------------------------------

  #tell(living: Living, now: Instant): void {
    const { hopper, settings } = living.state;
    const level = levelOf(hopper, settings);
    const forecast = forecastEmpty(hopper, settings, now);
    const moment = (at: "p10" | "p50" | "p90") => (forecast.kind === "emptyAt" ? isoOf(forecast[at]) : null);
    this.#options.say({
      at: isoOf(now),
      feeder: living.id,
      hopper: level && { grams: tenths(level.grams), low: tenths(level.low), high: tenths(level.high) },
      empty: { p10: moment("p10"), p50: moment("p50"), p90: moment("p90") },
    });
    living.tellAt = this.#nextTelling(settings, now);
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
function lifeByClock(
  { clock, sequence }: Pick<FeederState, "clock" | "sequence">,
  { boot, sentUptime }: PostedReport,
  at: Instant,
): number | null {
  const lives = livesOf(clock, sequence, boot);
  const [newest = 1] = lives;
  const verdict = judgeByClock(clock, boot, lives, sentUptime, at);
  switch (verdict.kind) {
    case "known":
      return verdict.life;
    case "leftBehind":
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
interface Living {
  readonly id: string;
  state: FeederState;
  readonly seen: SeenNumbers;
  readonly boots: ToldBoots;
  lastHeardAt: Instant | null;
  lookAt: Instant; // when patrol looks, if nothing happens before
  looksAreTold: boolean; // from then on patrol looks when the log says so
  tellAt: Instant; // when its hopper is told
}

const beginning = ({ id, state, lastHeardAt }: Living): Advanced =>
  begin({ id, yard: "", state, lastHeardAt, steppedAt: null });

const patrolFrom = (at: Instant): Instant => (Math.ceil(at / lookEvery) * lookEvery) as Instant;

const tenths = (mass: number): number => Math.round(mass * 10) / 10;
