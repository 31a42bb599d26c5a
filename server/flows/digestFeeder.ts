import { readReport } from "../contract/readReport.ts";
import type { DigestFeeder, FeltReadings } from "../domain/digest/digestFeeder.ts";
import { namedPayWithin } from "../domain/digest/pay.ts";
import { after, before, days, type Instant } from "../domain/instant.ts";
import type { LocalDate } from "../domain/localTime.ts";
import type { DigestStore, FeederRow, RecordStore, TimeSpan } from "../ports.ts";
import { daysToldOf, hoursBefore, isWhole, pausedSpans, silentSpans } from "./pure/digestSpans.ts";
import { payEvents } from "./pure/payEvents.ts";

interface Stores {
  readonly digests: Pick<DigestStore, "tallies" | "exchanges" | "firstReadings">;
  readonly records: Pick<RecordStore, "alarmChanges" | "orders">;
}

/** Gathers what a digest of this date says of one feeder. Each question has a bound, however long the feeder has been reporting. */
export async function toldFeeder(
  { digests, records }: Stores,
  { id, state, addedAt }: FeederRow,
  zone: string,
  date: LocalDate,
  now: Instant,
): Promise<DigestFeeder> {
  const told = daysToldOf(date, zone);
  const [yesterday, oldest] = [told[0], told.at(-1)];
  if (yesterday === undefined || oldest === undefined) throw new Error("expected a digest to tell of some days");
  const window = { from: oldest.from, to: yesterday.to };
  // A pause may have begun long before; one that is older than that was ended by hand, or is the feeder's usual state.
  const orders = await records.orders(id, before(window.from, days(60)), window.to);
  const paused = pausedSpans(orders, window.to);
  const silent = silentSpans(await records.alarmChanges(id, window.from, window.to), state, window);
  const counts = await digests.tallies(id, told);
  return {
    id,
    name: state.settings.name,
    state,
    addedAt,
    days: told.flatMap((day, ago) => {
      const counted = counts[ago];
      return counted === undefined ? [] : [{ counts: counted, whole: isWhole(day, [...paused, ...silent], addedAt) }];
    }),
    exchanges: await exchangesOf(digests, id, yesterday, paused),
    felt: await feltOf(digests, id, now),
  };
}

/** More than birds make of a day; a feeder that tells of more has other troubles. */
const exchangesMost = 4_000;

async function exchangesOf(digests: Stores["digests"], id: string, day: TimeSpan, paused: readonly TimeSpan[]) {
  // What was dropped before midnight may have been paid after it.
  const within = { from: day.from, to: after(day.to, namedPayWithin) };
  const events = await digests.exchanges(id, within, exchangesMost);
  if (events.length >= exchangesMost) return null;
  return payEvents(events, paused).filter((event) => event.kind === "portion" || event.at < day.to);
}

async function feltOf(digests: Stores["digests"], id: string, now: Instant): Promise<readonly FeltReadings[]> {
  const heartbeats = await digests.firstReadings(id, hoursBefore(now));
  return heartbeats.flatMap(({ receivedAt: at, readings }) => {
    const read = readReport({ boot: "kept", sentUptimeMs: null, readings: JSON.parse(readings), events: [] });
    return read.kind === "read" ? [{ at, readings: read.report.readings }] : [];
  });
}
