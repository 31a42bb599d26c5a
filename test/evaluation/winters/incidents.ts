import { after, days, hours, type Instant, inDays, type Span } from "../../../server/domain/instant.ts";
import { poisson } from "../../../server/practice/model/birdDay.ts";
import type { RandomSource } from "../../../server/practice/random.ts";
import type { Disturbance } from "../../simulator/plot.ts";

/**
 * What goes wrong in a winter, and how often: invented, for no source is known to us. Meant as a yard of home-built feeders that
 * is looked after, in which something real breaks about once in two weeks.
 */
export interface IncidentKind {
  readonly mishap: Disturbance;
  readonly where: "feeder" | "yard";
  readonly perMonth: number; // of one feeder, or of the yard; a month is thirty days
  /** How long it lasts by itself, shortest to longest; null: until somebody mends it. */
  readonly lasts: readonly [Span, Span] | null;
  /** How long a person needs for it once they stand there: a part must be ordered. */
  readonly repair: readonly [Span, Span];
}

const atOnce = [hours(0), hours(0.5)] as const;
const withAPart = [days(0.5), days(4)] as const;

export const incidentKinds: readonly IncidentKind[] = [
  { mishap: "trayJammed", where: "feeder", perMonth: 0.1, lasts: null, repair: atOnce },
  { mishap: "feedBridged", where: "feeder", perMonth: 0.1, lasts: null, repair: atOnce },
  { mishap: "motorStalled", where: "feeder", perMonth: 0.03, lasts: null, repair: atOnce },
  { mishap: "wireOff", where: "feeder", perMonth: 0.02, lasts: null, repair: atOnce },
  { mishap: "chuteBlind", where: "feeder", perMonth: 0.05, lasts: null, repair: atOnce },
  { mishap: "scaleStuck", where: "feeder", perMonth: 0.02, lasts: null, repair: withAPart },
  { mishap: "scaleDead", where: "feeder", perMonth: 0.02, lasts: null, repair: withAPart },
  { mishap: "buttonDead", where: "feeder", perMonth: 0.03, lasts: null, repair: withAPart },
  { mishap: "detectorDead", where: "feeder", perMonth: 0.04, lasts: null, repair: withAPart },
  { mishap: "perchDead", where: "feeder", perMonth: 0.03, lasts: null, repair: withAPart },
  { mishap: "thermometerStuck", where: "feeder", perMonth: 0.03, lasts: null, repair: withAPart },
  { mishap: "silent", where: "feeder", perMonth: 0.05, lasts: null, repair: atOnce },
  { mishap: "lineDown", where: "feeder", perMonth: 0.3, lasts: [hours(0.2), hours(4)], repair: atOnce },
  { mishap: "lineDown", where: "yard", perMonth: 1, lasts: [hours(0.2), hours(12)], repair: atOnce },
  { mishap: "powerCut", where: "yard", perMonth: 0.3, lasts: [hours(0.5), hours(8)], repair: atOnce },
];

/** Nobody is at home: no digest is read, no hopper filled, nothing mended; phones are answered now and then. */
export const absences = { perWinter: 0.5, lasts: [days(5), days(12)] as readonly [Span, Span] } as const;

/** Whatever nobody was notified of is found by chance in the end. */
export const timeToChanceDiscovery = days(14);

/** One thing that went wrong, and what became of it. */
export interface Incident {
  readonly kind: IncidentKind;
  readonly feeder: number | null; // null: the whole yard
  readonly from: Instant; // when it was meant to begin
  readonly lasts: Span | null; // by itself; null: until it is mended
  beganAt: Instant | null; // null: not in this winter
  notifiedAt: Instant | null; // the first notification of it
  endedAt: Instant | null;
}

/** All of a winter, in time order. Two at once at one feeder would hide each other: the later is put off until the earlier is over. */
export function drawIncidents(chance: RandomSource, feeders: number, from: Instant, to: Instant): Incident[] {
  const months = inDays((to - from) as Span) / 30;
  const drawn: Incident[] = [];
  for (const mischance of incidentKinds) {
    const places = mischance.where === "yard" ? [null] : Array.from({ length: feeders }, (_, index) => index);
    for (const feeder of places) {
      for (let left = poisson(mischance.perMonth * months, chance); left > 0; left -= 1) {
        const begins = after(from, Math.round(chance.uniform() * (to - from)) as Span);
        const { lasts } = mischance;
        const long = lasts === null ? null : spanBetween(lasts, chance);
        drawn.push({
          kind: mischance,
          feeder,
          from: begins,
          lasts: long,
          beganAt: null,
          notifiedAt: null,
          endedAt: null,
        });
      }
    }
  }
  return drawn.sort((one, other) => one.from - other.from);
}

export const spanBetween = ([least, most]: readonly [Span, Span], chance: RandomSource): Span =>
  Math.round(chance.between(least, most)) as Span;
