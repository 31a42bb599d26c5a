import type { RatesDayView, RatesView } from "../contract/api.ts";
import { ratesFindings, ratesHeadline } from "../domain/alarmRates/findings.ts";
import type { YardAlarmChange } from "../domain/alarmRates/history.ts";
import {
  type ActiveAlarm,
  type AlarmRates,
  alarmRates,
  type FrequentAlarm,
  frequentAlarms,
  type HistoryFeeder,
} from "../domain/alarmRates/rates.ts";
import type { Alarm } from "../domain/alarms/alarm.ts";
import { faultKinds, ruleOf } from "../domain/faults.ts";
import { earlier, type Instant, isoOf, later } from "../domain/instant.ts";
import { addLocalDays, localDateOf, localDaysBetween, startOfLocalDay } from "../domain/localTime.ts";
import type { FeederRow, RecordStore, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";

/** The standard judges over a month at least. */
const daysMax = 30;

/**
 * More changes than a yard of ten feeders makes in a bad month; a sensor that flickers day and night makes as many. Above that
 * only the newest days are analysed: a page must not read a whole year.
 */
const changesMax = 20_000;

/** The last thirty whole local days and today so far, or as many as there are. */
export async function alarmRatesView(
  records: RecordStore,
  yard: YardRow,
  feeders: readonly FeederRow[],
  now: Instant,
): Promise<RatesView> {
  const { zone } = yard;
  const watched = feeders.map(({ id, state, addedAt }) => ({ id, name: state.settings.name, addedAt }));
  const begun = startOfLocalDay(addLocalDays(localDateOf(now, zone), -daysMax), zone);
  const requestedFrom = earliestOf(watched, begun, now);
  const changes = await records.latestAlarmChanges(
    watched.map(({ id }) => id),
    requestedFrom,
    now,
    changesMax,
  );
  const from = changes.length < changesMax ? requestedFrom : firstWholeDay(changes, zone, now);
  const rates = alarmRates({
    from,
    to: now,
    zone,
    feeders: watched,
    changes: changes.filter(({ at }) => at >= from),
    active: feeders.flatMap(activeAlarms),
  });
  return viewOf(yard, rates, from === requestedFrom ? [] : [texts.alarmRates.cut(changesMax)]);
}

/** A yard has no alarms before its first feeder was added. */
function earliestOf(feeders: readonly HistoryFeeder[], begun: Instant, now: Instant): Instant {
  const first = feeders.reduce((soonest, { addedAt }) => earlier(soonest, addedAt), now);
  return earlier(later(begun, first), (now - 1) as Instant);
}

/** A day that was read only in part would have too few alarms. */
function firstWholeDay(changes: readonly YardAlarmChange[], zone: string, now: Instant): Instant {
  const oldest = changes[0]?.at ?? now;
  const next = startOfLocalDay(addLocalDays(localDateOf(oldest, zone), 1), zone);
  return next < now ? next : oldest;
}

function activeAlarms({ id, state }: FeederRow): ActiveAlarm[] {
  return faultKinds.flatMap((fault) => {
    const alarm = state.alarms[fault];
    return alarm === undefined || !isActive(alarm)
      ? []
      : [{ feeder: id, fault, priority: alarm.priority, raisedAt: alarm.raisedAt }];
  });
}

/** One that is suppressed, or has ended and waits only for an acknowledgement, is not active. */
function isActive(alarm: Alarm): alarm is Extract<Alarm, { raisedAt: Instant }> {
  return "raisedAt" in alarm && alarm.state !== "returnedUnacknowledged";
}

function viewOf(yard: YardRow, rates: AlarmRates, cut: readonly string[]): RatesView {
  const { raised, feeders } = rates;
  const nameOf = ({ feeder, fault }: FrequentAlarm) => {
    const { title } = ruleOf(fault);
    const name = feeders.find(({ id }) => id === feeder)?.name;
    return name === undefined ? title : `${title}, ${name}`;
  };
  return {
    yard: yard.id,
    from: isoOf(rates.from),
    to: isoOf(rates.to),
    texts: [ratesHeadline(rates), ...cut],
    findings: ratesFindings(rates).map(({ text }) => text),
    days: alarmsByDay(rates),
    acknowledgedCount: raised.filter(({ acknowledgedAt }) => acknowledgedAt !== null).length,
    frequentAlarms: frequentAlarms(raised)
      .slice(0, 10)
      .map((alarm) => ({
        name: nameOf(alarm),
        alarmCount: alarm.alarmCount,
        sharePercent: Math.round((100 * alarm.alarmCount) / raised.length),
      })),
  };
}

function alarmsByDay({ raised, notes, from, to, zone }: AlarmRates): RatesDayView[] {
  const first = localDateOf(from, zone);
  const dayCount = localDaysBetween(first, localDateOf((to - 1) as Instant, zone)) + 1;
  const days = new Map(
    Array.from({ length: dayCount }, (_, index) => {
      const date = addLocalDays(first, index);
      return [date, { date, urgent: 0, soon: 0, notes: 0 }];
    }),
  );
  for (const { raisedAt, priority } of [...raised, ...notes]) {
    const day = days.get(localDateOf(raisedAt, zone));
    if (day !== undefined) day[priority === "note" ? "notes" : priority] += 1;
  }
  return [...days.values()];
}
