import { after, before, days, earlier, hours, type Instant, later, minutes, type Span } from "../instant.ts";
import { addLocalDays, instantOfLocal, type LocalDate, localDaysBetween, startOfLocalDay } from "../localTime.ts";
import type { Place } from "../settings.ts";
import { civilDayAround } from "../sun.ts";
import type { Grams } from "../units.ts";
import type { FeedingRules, FreeFood, QuietTime } from "./feedingRules.ts";
import { taperShare } from "./taper.ts";
import { freeGaps } from "./variableSchedule.ts";

/** What a feeder may give on one local day, and when it gives free food. */
export interface DayPlan {
  readonly date: LocalDate;
  readonly from: Instant;
  readonly to: Instant;
  /** What the light allows: on an ordinary day, where the sun is too low all day, and where it never goes down. */
  readonly light: DayLight;
  /** The birds' day there, without margins and quiet times; empty in polar night. */
  readonly lit: LitSpan;
  /** When free food is given, the earliest first, and how many portions each time. */
  readonly free: readonly Instant[];
  readonly portionsEach: number;
  /** When more free food is given if it is colder than the frost floor's limit then; one portion each time. */
  readonly frost: readonly Instant[];
  /** The ration, in portions. */
  readonly portionsMax: number;
  /** How much of the usual food this is: less than 1 while feeding is tapered off, and 0 after it. */
  readonly share: number;
  /** The mean gap was made longer, since the ration allows no more free food than this. */
  readonly stretched: Span | null;
}

interface LitSpan {
  readonly from: Instant;
  readonly to: Instant;
}

export type DayLight = "usual" | "polarNight" | "polarDay";

/** What the times depend on besides the rules. */
export interface PlanContext {
  readonly seed: number;
  readonly place: Place;
  readonly zone: string;
  /** What one portion weighs today. */
  readonly portion: Grams;
}

/** No plan asks for more, so that a small board's memory holds it; a feeder's program may refuse a plan that does. */
export const planLimits = { days: 14, timesADay: 96, portionsEach: 10 } as const;

/** Always the same for the same rules and context. */
export function planDay(rules: FeedingRules, context: PlanContext, date: LocalDate): DayPlan {
  const { place, zone, portion } = context;
  const from = startOfLocalDay(date, zone);
  const to = startOfLocalDay(addLocalDays(date, 1), zone);
  const { light, lit } = daylight(place, date, zone);
  const share = taperShare(rules.taper, date);
  const portionsMax = Math.floor((share * rules.ration) / portion + 1e-9);
  const portionsEach =
    rules.free === null ? 0 : Math.min(planLimits.portionsEach, Math.max(1, Math.round(rules.free.each / portion)));
  const open = rules.free === null ? [] : openSpans(rules.free, rules.quietTimes, { lit, date, zone });
  const { times, stretched } =
    rules.free === null
      ? { times: [], stretched: null }
      : freeTimes(rules.free, open, {
          ...{ seed: context.seed, share, day: dayNumber(date) },
          timesMax: Math.min(planLimits.timesADay, Math.floor(portionsMax / portionsEach)),
        });
  // Below the floor nothing is scaled: in hard frost it is given also while feeding is tapered off, and after it.
  const floor = rules.frostFloor === null ? 0 : Math.ceil(rules.frostFloor.grams / portion);
  return {
    ...{ date, from, to, light, lit, portionsEach, portionsMax, share, stretched },
    free: times,
    frost: frostTimes(lit, Math.min(planLimits.timesADay, Math.max(0, floor - times.length * portionsEach))),
  };
}

const dayNumber = (date: LocalDate): number => localDaysBetween("1970-01-01", date);

// --- the day's light -----------------------------------------------------------------------------------------------

/** Birds rest also where the sun never goes down: of a longer day the middle is used. Common practice, no source. */
const longestDay = hours(16);

/** From civil dawn to civil dusk: corvids are about in twilight. */
function daylight(place: Place, date: LocalDate, zone: string): { readonly light: DayLight; readonly lit: LitSpan } {
  const noon = instantOfLocal(date, "12:00", zone);
  const { dawn, dusk } = civilDayAround(place, noon);
  if (dusk <= dawn) return { light: "polarNight", lit: { from: noon, to: noon } };
  const middle = (dawn + dusk) / 2;
  const half = longestDay / 2;
  const lit = { from: later(dawn, (middle - half) as Instant), to: earlier(dusk, (middle + half) as Instant) };
  return { light: dusk - dawn >= days(1) - minutes(5) ? "polarDay" : "usual", lit };
}

/** When free food may be given: by daylight with its margins, outside of the quiet times. */
function openSpans(
  { afterDawn, beforeDusk }: FreeFood,
  quietTimes: readonly QuietTime[],
  { lit, date, zone }: { readonly lit: LitSpan; readonly date: LocalDate; readonly zone: string },
): readonly LitSpan[] {
  let open: readonly LitSpan[] = [{ from: after(lit.from, afterDawn), to: before(lit.to, beforeDusk) }];
  for (const quiet of quietTimes) {
    // One that reaches over midnight touches a day twice.
    for (const begin of [addLocalDays(date, -1), date]) {
      const end = quiet.to > quiet.from ? begin : addLocalDays(begin, 1);
      const from = instantOfLocal(begin, quiet.from, zone);
      const to = instantOfLocal(end, quiet.to, zone);
      open = open.flatMap((span) => [
        { from: span.from, to: earlier(span.to, from) },
        { from: later(span.from, to), to: span.to },
      ]);
    }
  }
  return open.filter(({ from, to }) => to > from).sort((a, b) => a.from - b.from);
}

// --- times ---------------------------------------------------------------------------------------------------------

interface FreeTimes {
  readonly seed: number;
  readonly day: number;
  readonly share: number;
  readonly timesMax: number;
}

/**
 * The schedule's clock stands still in the quiet times, so that they take nothing from its mean. Where the ration would end before the
 * day does, all gaps are longer instead: birds would learn that afternoons bring nothing.
 */
function freeTimes({ schedule }: FreeFood, open: readonly LitSpan[], { seed, day, share, timesMax }: FreeTimes) {
  const lit = open.reduce((sum, { from, to }) => sum + (to - from), 0);
  if (timesMax < 1 || lit === 0) return { times: [], stretched: null };
  const tapered = 1 / share; // above 0, or there were no times
  const stretch = Math.max(tapered, lit / (timesMax * schedule.mean));
  const times: Instant[] = [];
  let passed = 0; // of the open spans
  for (const gap of freeGaps(schedule, seed, day)) {
    passed += stretch * gap;
    if (passed >= lit || times.length >= timesMax) break;
    times.push(wholeSecond(atOpen(open, passed)));
  }
  return { times, stretched: stretch > tapered ? ((stretch * schedule.mean) as Span) : null };
}

function atOpen(open: readonly LitSpan[], passed: number): Instant {
  let left = passed;
  for (const { from, to } of open) {
    if (left < to - from) return (from + left) as Instant;
    left -= to - from;
  }
  throw new RangeError(`expected a moment within the open spans, got one ${left} ms behind them`);
}

const wholeSecond = (at: Instant): Instant => (1_000 * Math.round(at / 1_000)) as Instant;

/** Evenly over the daylight, in the middle of as many equal parts. */
const frostTimes = ({ from, to }: LitSpan, count: number): readonly Instant[] =>
  to > from
    ? Array.from({ length: count }, (_, index) =>
        wholeSecond((from + ((to - from) * (index + 0.5)) / count) as Instant),
      )
    : [];
