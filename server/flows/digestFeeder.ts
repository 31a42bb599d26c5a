import { readReport } from "../contract/readReport.ts";
import { benchSpans, birdsEventFilter } from "../domain/benchRun/advanceBench.ts";
import type { DayCounts, DigestFeeder, TimedReadings } from "../domain/digest/digestFeeder.ts";
import { namedPaymentWithin } from "../domain/digest/payments.ts";
import { after, before, days, type Instant } from "../domain/instant.ts";
import type { LocalDate } from "../domain/localTime.ts";
import { withoutSpans } from "../domain/timeSpans.ts";
import type { DigestStore, FeederRow, RecordStore, TimeSpan } from "../ports.ts";
import { digestDays, isDayComplete, pastHours, pausedSpans, silentSpans } from "./pure/digestSpans.ts";
import { paymentEvents } from "./pure/paymentEvents.ts";

interface Stores {
  readonly digests: Pick<DigestStore, "dayCounts" | "paymentEvents" | "firstReadings">;
  readonly records: Pick<RecordStore, "alarmChanges" | "orders">;
}

/** Reads what the digest of this date needs of one feeder. Each query has a limit, however long the feeder has been reporting. */
export async function readDigestFeeder(
  { digests, records }: Stores,
  { id, state, addedAt }: FeederRow,
  zone: string,
  date: LocalDate,
  now: Instant,
): Promise<DigestFeeder> {
  const coveredDays = digestDays(date, zone);
  const [yesterday, oldest] = [coveredDays[0], coveredDays.at(-1)];
  if (yesterday === undefined || oldest === undefined) throw new Error("expected a digest to cover at least one day");
  const window = { from: oldest.from, to: yesterday.to };
  // A pause may have begun long before; an older one was ended at the feeder, or is its usual state.
  const orders = await records.orders(id, before(window.from, days(60)), window.to);
  const paused = pausedSpans(orders, window.to);
  const silent = silentSpans(await records.alarmChanges(id, window.from, window.to), state, window);
  const bench = benchSpans(state.bench);
  const counts = await countDays(digests, id, coveredDays, bench);
  if (counts[0] === null) throw new Error(`the log of feeder ${id} can't be read for ${date}`);
  return {
    id,
    name: state.settings.name,
    state,
    addedAt,
    days: coveredDays.flatMap((day, ago) => {
      const counted = counts[ago];
      if (counted === undefined) return [];
      // An earlier day is only there to be compared with.
      if (counted === null) return [{ counts: noCounts, isComplete: false }];
      return [{ counts: counted, isComplete: isDayComplete(day, [...paused, ...silent, ...bench], addedAt) }];
    }),
    paymentEvents: await readPaymentEvents(digests, { id, state }, yesterday, paused),
    recentReadings: await readRecentReadings(digests, id, now),
  };
}

const noCounts: DayCounts = { visits: 0, presses: 0, deposits: 0, portions: 0 };

/** More events than birds cause in a day; a feeder that reports more has a fault. */
const paymentEventsMax = 4_000;

/** Of each day the time without bench runs, in which nothing was a bird's. */
async function countDays(
  digests: Stores["digests"],
  id: string,
  coveredDays: readonly TimeSpan[],
  bench: readonly TimeSpan[],
): Promise<readonly (DayCounts | null)[]> {
  const parts = coveredDays.flatMap((day, index) => withoutSpans(day, bench).map((span) => ({ span, index })));
  const counts = await digests.dayCounts(
    id,
    parts.map(({ span }) => span),
  );
  return coveredDays.map((_, index) =>
    counts
      .filter((_, part) => parts[part]?.index === index)
      .reduce<DayCounts | null>(
        (sum, count) => (sum === null || count === null ? null : addCounts(sum, count)),
        noCounts,
      ),
  );
}

const addCounts = (a: DayCounts, b: DayCounts): DayCounts => ({
  visits: a.visits + b.visits,
  presses: a.presses + b.presses,
  deposits: a.deposits + b.deposits,
  portions: a.portions + b.portions,
});

async function readPaymentEvents(
  digests: Stores["digests"],
  { id, state }: Pick<FeederRow, "id" | "state">,
  day: TimeSpan,
  paused: readonly TimeSpan[],
) {
  // A deposit before midnight may have been paid after it.
  const within = { from: day.from, to: after(day.to, namedPaymentWithin) };
  const events = await digests.paymentEvents(id, within, paymentEventsMax);
  if (events.length >= paymentEventsMax) return null;
  const birds = events.filter(birdsEventFilter(state.bench));
  return paymentEvents(birds, paused).filter((event) => event.kind === "portion" || event.at < day.to);
}

async function readRecentReadings(
  digests: Stores["digests"],
  id: string,
  now: Instant,
): Promise<readonly TimedReadings[]> {
  const heartbeats = await digests.firstReadings(id, pastHours(now));
  return heartbeats.flatMap(({ receivedAt, readings }) => {
    const read = readReport({ boot: "stored", sentUptimeMs: null, readings: JSON.parse(readings), events: [] });
    return read.kind === "read" ? [{ at: receivedAt, readings: read.report.readings }] : [];
  });
}
