import type { RatesDayView, RatesView } from "../contract/api.ts";
import { ratesFindings, ratesHeadline } from "../domain/alarmRates/findings.ts";
import type { HistoryFeeder, RaisedAlarm, StandingAlarm, YardAlarmChange } from "../domain/alarmRates/history.ts";
import { daysMin } from "../domain/alarmRates/limits.ts";
import { localDaysBetweenInstants } from "../domain/alarmRates/load.ts";
import { alarmMeasures } from "../domain/alarmRates/measures.ts";
import { type AlarmRates, alarmRates } from "../domain/alarmRates/rates.ts";
import type { Alarm } from "../domain/alarms/alarm.ts";
import { faultKinds, ruleOf } from "../domain/faults.ts";
import { earlier, type Instant, isoOf, later } from "../domain/instant.ts";
import { addLocalDays, localDateOf, startOfLocalDay } from "../domain/localTime.ts";
import type { FeederRow, RecordStore, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";

/**
 * More changes than a yard of ten feeders makes in a bad month; a sensor that flickers day and night makes as many. Past that
 * only the newest days are judged: a page must not read a year to say that something chatters.
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
  const begun = startOfLocalDay(addLocalDays(localDateOf(now, zone), -daysMin), zone);
  const requestedFrom = earliestOf(watched, begun, now);
  const changes = await records.latestAlarmChanges(
    watched.map(({ id }) => id),
    requestedFrom,
    now,
    changesMax,
  );
  const from = changes.length < changesMax ? requestedFrom : firstWholeDay(changes, zone, now);
  const rang = await records.countNotifications(yard.id, from, now);
  const rates = alarmRates({
    from,
    to: now,
    zone,
    feeders: watched,
    changes: changes.filter(({ at }) => at >= from),
    standing: feeders.flatMap(standingAlarms),
    audibleNotifications: rang > 0 ? rang : null, // where none rang the alarms stand for them
  });
  const cut = from === requestedFrom ? [] : [texts.days.changesLimited(changesMax)];
  return viewOf(yard, rates, cut);
}

/** Before its first feeder a yard had nothing to alarm of. */
function earliestOf(feeders: readonly HistoryFeeder[], begun: Instant, now: Instant): Instant {
  const first = feeders.reduce((soonest, { addedAt }) => earlier(soonest, addedAt), now);
  return earlier(later(begun, first), (now - 1) as Instant);
}

/** A day of which only a part was read would look quieter than it was. */
function firstWholeDay(changes: readonly YardAlarmChange[], zone: string, now: Instant): Instant {
  const oldest = changes[0]?.at ?? now;
  const next = startOfLocalDay(addLocalDays(localDateOf(oldest, zone), 1), zone);
  return next < now ? next : oldest;
}

function standingAlarms({ id, state }: FeederRow): StandingAlarm[] {
  return faultKinds.flatMap((fault) => {
    const alarm = state.alarms[fault];
    return alarm === undefined || !isStanding(alarm)
      ? []
      : [{ feeder: id, fault, priority: alarm.priority, raisedAt: alarm.raisedAt }];
  });
}

/** What is set aside, or over and only not seen yet, stands no more. */
function isStanding(alarm: Alarm): alarm is Extract<Alarm, { raisedAt: Instant }> {
  return "raisedAt" in alarm && alarm.state !== "returnedUnacknowledged";
}

function viewOf(yard: YardRow, rates: AlarmRates, cut: readonly string[]): RatesView {
  const { frequentAlarms, stale, feeders } = rates;
  const nameOf = ({ feeder, fault }: Pick<RaisedAlarm, "feeder" | "fault">) => {
    const { title } = ruleOf(fault);
    const name = feeders.find(({ id }) => id === feeder)?.name;
    return name === undefined ? title : `${title}, ${name}`;
  };
  return {
    yard: yard.id,
    from: isoOf(rates.from),
    to: isoOf(rates.to),
    texts: [...ratesHeadline(rates), ...cut],
    findings: ratesFindings(rates).map(({ text }) => text),
    days: alarmsByDay(rates),
    measures: alarmMeasures(rates),
    frequentAlarms: frequentAlarms.slice(0, 10).map((loader) => ({
      name: nameOf(loader),
      alarmCount: loader.alarmCount,
      sharePercent: Math.round(100 * loader.share),
    })),
    standing: stale.map((alarm) => ({ name: nameOf(alarm), since: isoOf(alarm.raisedAt) })),
  };
}

function alarmsByDay({ raised, notes, from, to, zone }: AlarmRates): RatesDayView[] {
  const days = new Map(
    localDaysBetweenInstants(from, to, zone).map((date) => [date, { date, urgent: 0, soon: 0, notes: 0 }]),
  );
  for (const { raisedAt, priority } of raised) {
    const day = days.get(localDateOf(raisedAt, zone));
    if (day !== undefined && priority !== "note") day[priority] += 1;
  }
  for (const at of notes) {
    const day = days.get(localDateOf(at, zone));
    if (day !== undefined) day.notes += 1;
  }
  return [...days.values()];
}
