import type { AlarmChange } from "../../domain/alarms/alarmStates.ts";
import type { FaultKind } from "../../domain/faults.ts";
import type { FeederState } from "../../domain/feeder.ts";
import { after, earlier, hours, type Instant, later } from "../../domain/instant.ts";
import { addLocalDays, type LocalDate, startOfLocalDay } from "../../domain/localTime.ts";
import type { Order } from "../../domain/orders/order.ts";
import type { TimeSpan } from "../../ports.ts";

/**
 * The local days that the digest of this date covers: the whole day before it, and the seven before that, newest first. They end
 * at the yard's own midnights, so a day may have 23 or 25 hours, and begin at one o'clock where the clock skips midnight. A zone
 * may even skip a whole date, which is then a day without length.
 */
export const digestDays = (date: LocalDate, zone: string): readonly TimeSpan[] =>
  Array.from({ length: 8 }, (_, ago) => ({
    from: startOfLocalDay(addLocalDays(date, -1 - ago), zone),
    to: startOfLocalDay(addLocalDays(date, -ago), zone),
  }));

/** The last 25 hours in spans of an hour, oldest first: the readings at both ends are about a day apart. */
export const pastHours = (now: Instant): readonly TimeSpan[] =>
  Array.from({ length: 25 }, (_, n) => ({ from: after(now, hours(n - 25)), to: after(now, hours(n - 24)) }));

/** When a feeder was silent; see `faultSpans`. */
export const silentSpans = (changes: readonly AlarmChange[], state: FeederState, within: TimeSpan) =>
  faultSpans("feederSilent", changes, state, within);

/** When a fault was present, by its alarm's changes within that span; one without a change there is known from the state. */
export function faultSpans(
  kind: FaultKind,
  alarmChanges: readonly AlarmChange[],
  { alarms }: FeederState,
  within: TimeSpan,
): readonly TimeSpan[] {
  const spans: TimeSpan[] = [];
  const changes = alarmChanges.filter(({ fault }) => fault === kind);
  let since: Instant | null = changes[0]?.present === false ? within.from : null;
  for (const { present, at } of changes) {
    if (present) since ??= at;
    else if (since !== null) {
      spans.push({ from: since, to: at });
      since = null;
    }
  }
  const standing = alarms[kind];
  if (since === null && standing?.present) since = standing.since;
  return since === null || since >= within.to ? spans : [...spans, { from: since, to: within.to }];
}

/** When it was paused, by the orders that it confirmed. A pause that was set at the feeder itself is unknown here. */
export function pausedSpans(orders: readonly Order[], until: Instant): readonly TimeSpan[] {
  const spans: TimeSpan[] = [];
  let paused: { readonly from: Instant; readonly end: Instant } | null = null;
  const ended = (at: Instant) => {
    if (paused !== null) spans.push({ from: paused.from, to: earlier(paused.end, at) });
    paused = null;
  };
  for (const order of [...orders].sort((one, other) => one.requestedAt - other.requestedAt)) {
    if (order.status !== "confirmed" || order.answeredAt === null) continue;
    ended(order.answeredAt);
    if (order.kind === "pause") paused = { from: order.answeredAt, end: order.until ?? until };
  }
  ended(until);
  return spans.filter(({ from, to }) => from < to);
}

/** Whether a feeder's counts of that day can be compared: not where more than an hour of it is missing. */
export function isDayComplete(day: TimeSpan, missing: readonly TimeSpan[], addedAt: Instant): boolean {
  if (day.to <= day.from) return false;
  const gone = [...missing, { from: 0 as Instant, to: addedAt }].map(({ from, to }) =>
    Math.max(0, earlier(to, day.to) - later(from, day.from)),
  );
  return gone.every((span) => span <= hours(1)) && gone.reduce((sum, span) => sum + span, 0) <= hours(1);
}
