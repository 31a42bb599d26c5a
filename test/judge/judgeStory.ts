import type { FaultKind, Priority } from "../../server/domain/faults.ts";
import type { FeederState } from "../../server/domain/feeder.ts";
import { type EmptyForecast, forecastEmpty } from "../../server/domain/hopper/emptyForecast.ts";
import { needsRefillToday } from "../../server/domain/hopper/hopperFaults.ts";
import { hopperLevel } from "../../server/domain/hopper/level.ts";
import { hours, type Instant, inDays, inHours, type Span } from "../../server/domain/instant.ts";
import { Replay } from "../../server/replay/replay.ts";
import type { Story, World, WorldMoment, WorldTruth } from "../worlds/world.ts";
import { type Circumstances, isFounded, type RaisedAlarm } from "./founded.ts";

/** What the server's own steps made of one story, beside the truth. */
export interface StoryFigures {
  readonly feederDays: number;
  readonly alarms: readonly JudgedAlarm[];
  readonly levels: number; // moments at which a level was shown, once in four hours, while nothing was planted
  readonly levelsHeld: number; // of which the 90 % interval held what lies on the scale
  readonly widths: number; // of these intervals together, in shares of the entered capacity
  readonly forecasts: readonly JudgedForecast[];
  readonly refusedLines: number;
  /** After the planted fault the hopper gave nothing any more for want of food. */
  readonly ranEmpty: boolean;
}

export interface JudgedAlarm extends RaisedAlarm {
  readonly founded: boolean;
  readonly hoursAfterFault: number | null; // null: before the planted fault, or none is planted
  readonly unfedAfterFault: number;
}

/** A forecast of the run-out and when it came. */
export interface JudgedForecast {
  readonly hoursBefore: number;
  readonly held: boolean; // within p10 and p90
  readonly past: boolean; // a time was told that had passed
  readonly hoursOff: number; // of the median
  /** Of a straight line through the server's own level a day ago and now; null while it knew none a day ago. */
  readonly lineHoursOff: number | null;
}

const sampledEvery = hours(4);
const digestEvery = hours(24);
const dayAndSample = hours(25);
/** As far as the forecast itself looks ahead. */
const lineMax = hours(365 * 24);

export function judgeStory(world: World, story: Story): StoryFigures {
  const judge = new StoryJudge(story);
  for (const moment of world.tell(story, judge.phone)) judge.take(moment);
  return judge.figures();
}

/** What ends in the moment in which it comes back, with the alarm that explained it, rings nowhere. */
export const isEndOf = ({ alarm, at, state }: Partial<OutputAlarm>, raised: Partial<OutputAlarm>): boolean =>
  alarm === raised.alarm && at === raised.at && (state === "returnedUnacknowledged" || state === "normal");

interface OutputAlarm {
  readonly at: string;
  readonly alarm: FaultKind;
  readonly state: string;
  readonly priority: Priority;
  readonly reason: string;
}

class StoryJudge {
  readonly phone = { asksForFood: false };
  readonly #outputs: object[] = [];
  readonly #replay = new Replay({ settings: {}, hourly: false, output: (line) => this.#outputs.push(line) });
  readonly #plantsFault: boolean;
  readonly #alarms: JudgedAlarm[] = [];
  readonly #issued: IssuedForecast[] = [];
  readonly #shown: { readonly at: Instant; readonly grams: number }[] = []; // levels of the last day
  readonly #forecasts: JudgedForecast[] = [];
  readonly #rows = new EmptyRows();
  #from: Instant | null = null;
  #to: Instant | null = null;
  #sampledAt: Instant | null = null;
  #digestAt: Instant | null = null;
  #digestAsks = false; // today's digest, which the keeper reads, named food as a task
  #wasEmpty = false;
  #levels = 0;
  #levelsHeld = 0;
  #widths = 0;
  #refused = 0;
  #ranEmpty = false;

  constructor({ fault }: Story) {
    this.#plantsFault = fault !== null;
  }

  take({ line, truth }: WorldMoment): void {
    this.#from ??= line.at;
    this.#to = line.at;
    this.#rows.see(truth);
    if (truth.faultSince !== null && truth.emptySince !== null) this.#ranEmpty = true;
    if (this.#replay.take(line).length > 0) {
      this.#refused += 1; // as the server would refuse the report
      return;
    }
    const state = this.#replay.stateOf(line.feeder);
    if (state === null) return;
    this.#askForFood(state, line.at);
    this.#takeAlarms(state, truth);
    this.#judgeForecasts(truth);
    if (this.#sampledAt !== null && line.at - this.#sampledAt < sampledEvery) return;
    this.#sampledAt = line.at;
    this.#sample(state, truth);
  }

  figures(): StoryFigures {
    return {
      feederDays: this.#from === null || this.#to === null ? 0 : inDays((this.#to - this.#from) as Span),
      alarms: this.#alarms,
      levels: this.#levels,
      levelsHeld: this.#levelsHeld,
      widths: this.#widths,
      forecasts: this.#forecasts,
      refusedLines: this.#refused,
      ranEmpty: this.#ranEmpty,
    };
  }

  #askForFood({ alarms, hopper, settings }: FeederState, at: Instant): void {
    if (this.#digestAt === null || at - this.#digestAt >= digestEvery) {
      this.#digestAt = at;
      this.#digestAsks = needsRefillToday(hopper, settings, at);
    }
    const rings = [alarms.foodLow, alarms.foodOut].some(
      (alarm) => alarm?.state === "unacknowledged" || alarm?.state === "acknowledged",
    );
    this.phone.asksForFood = rings || this.#digestAsks;
  }

  #takeAlarms({ settings }: FeederState, truth: WorldTruth): void {
    const outputs = this.#outputs.splice(0);
    for (const [index, output] of outputs.entries()) {
      const { alarm: fault, state, priority, reason } = output as Partial<OutputAlarm>;
      if (fault === undefined || priority === undefined || reason === undefined) continue;
      if (state !== "unacknowledged" && state !== "latchedUnacknowledged") continue;
      if (outputs.slice(index + 1).some((later) => isEndOf(later, output))) continue;
      const around: Circumstances = { truth, emptyRuns: this.#rows.runs, capacityGrams: settings.hopperCapacity };
      const since = this.#plantsFault ? truth.faultSince : null;
      this.#alarms.push({
        fault,
        priority,
        reason,
        founded: isFounded({ fault, priority, reason }, around),
        hoursAfterFault: since === null ? null : inHours((truth.at - since) as Span),
        unfedAfterFault: truth.unfed,
      });
    }
  }

  #sample({ hopper, settings }: FeederState, truth: WorldTruth): void {
    if (this.#plantsFault && truth.faultSince !== null) return;
    const level = hopperLevel(hopper, settings);
    if (level !== null) {
      this.#levels += 1;
      this.#widths += (level.high - level.low) / settings.hopperCapacity;
      this.#remember(truth.at, level.grams);
      if (truth.gramsOnScale >= level.low && truth.gramsOnScale <= level.high) this.#levelsHeld += 1;
    }
    if (truth.emptySince !== null) return;
    const forecast = forecastEmpty(hopper, settings, truth.at);
    this.#issued.push({ at: truth.at, forecast, line: straightLine(this.#shown) });
  }

  #remember(at: Instant, grams: number): void {
    this.#shown.push({ at, grams });
    while (this.#shown[0] !== undefined && at - this.#shown[0].at > dayAndSample) this.#shown.shift();
  }

  /** Once the hopper is empty, the forecasts of the last days are judged; a refill before that makes them void. */
  #judgeForecasts({ emptySince, grams }: WorldTruth): void {
    const isEmpty = emptySince !== null;
    if (isEmpty && !this.#wasEmpty) {
      for (const { at, forecast, line } of this.#issued) {
        if (forecast.kind !== "emptyAt") continue;
        this.#forecasts.push({
          hoursBefore: inHours((emptySince - at) as Span),
          held: forecast.p10 <= emptySince && emptySince <= forecast.p90,
          past: forecast.p50 < at,
          hoursOff: Math.abs(inHours((forecast.p50 - emptySince) as Span)),
          lineHoursOff: line === null ? null : Math.abs(inHours((line - emptySince) as Span)),
        });
      }
    }
    if (isEmpty !== this.#wasEmpty || grams > this.#gramsBefore + 1) this.#issued.length = 0;
    this.#gramsBefore = grams;
    this.#wasEmpty = isEmpty;
  }
  #gramsBefore = 0;
}

interface IssuedForecast {
  readonly at: Instant;
  readonly forecast: EmptyForecast;
  readonly line: number | null;
}

/** When the level comes to nothing, if it sinks on as it did over the last day. */
function straightLine(levels: readonly { readonly at: Instant; readonly grams: number }[]): number | null {
  const [first, last] = [levels[0], levels.at(-1)];
  if (first === undefined || last === undefined || last.at - first.at < hours(23)) return null;
  const sunk = first.grams - last.grams;
  if (sunk <= 0) return last.at + lineMax;
  return last.at + Math.min((last.grams / sunk) * (last.at - first.at), lineMax);
}

/** Runs of the motor in a row from which no piece fell. */
class EmptyRows {
  #pieces = 0;
  #portions = 0;
  #last = 0;
  runs = 0;

  see({ pieces, portions }: WorldTruth): void {
    const sincePiece = portions - this.#portions;
    if (pieces !== this.#pieces) {
      this.#last = Math.max(sincePiece - 1, 0);
      this.#pieces = pieces;
      this.#portions = portions;
    }
    this.runs = Math.max(portions - this.#portions, this.#last);
  }
}
