import { type Instant, minutes } from "../instant.ts";
import { alarmFloods, type Flood } from "./floods.ts";
import { type FrequentAlarm, frequentAlarms } from "./frequentAlarms.ts";
import { type AlarmHistory, followAlarms, type RaisedAlarm } from "./history.ts";
import { feederWeeks, maxWithin, perDayOf, wholeDays } from "./load.ts";
import { type ChatteringAlarm, chatteringAlarms, fleetingAlarms, staleAlarms } from "./nuisance.ts";

/**
 * How well a yard's alarms work, by the measures of ANSI/ISA-18.2 and IEC 62682. A note requires no action and is no alarm in
 * their sense: it is only counted apart.
 */
export interface AlarmRates {
  readonly from: Instant;
  readonly to: Instant;
  readonly zone: string;
  readonly days: number; // whole ones that are known
  readonly feeders: AlarmHistory["feeders"];
  readonly raised: readonly RaisedAlarm[]; // within the span, in order
  readonly notes: readonly Instant[]; // when they were
  readonly perDay: number;
  readonly worstTenMinutes: number;
  readonly perFeederWeek: number;
  readonly audiblePerFeederWeek: number | null; // audible notifications; null where not recorded
  readonly floods: readonly Flood[];
  readonly chattering: readonly ChatteringAlarm[];
  readonly fleeting: readonly RaisedAlarm[];
  readonly stale: readonly RaisedAlarm[]; // stale just now, the longest first
  readonly frequentAlarms: readonly FrequentAlarm[]; // all, the most frequent first
  readonly unacknowledged: readonly RaisedAlarm[]; // over, and nobody had acknowledged them
}

export function alarmRates({
  from,
  to,
  zone,
  feeders,
  changes,
  standing,
  audibleNotifications,
}: AlarmHistory): AlarmRates {
  const followed = followAlarms({ changes, standing, from });
  const raised = followed.raised.filter(({ raisedAt }) => raisedAt >= from);
  const times = raised.map(({ raisedAt }) => raisedAt);
  const weeks = feederWeeks(feeders, from, to);
  return {
    from,
    to,
    zone,
    days: wholeDays(from, to),
    feeders,
    raised,
    notes: followed.notes.map(({ raisedAt }) => raisedAt).filter((at) => at >= from),
    perDay: perDayOf(raised.length, from, to),
    worstTenMinutes: maxWithin(times, minutes(10)),
    perFeederWeek: weeks === 0 ? 0 : raised.length / weeks,
    audiblePerFeederWeek: audibleNotifications === null || weeks === 0 ? null : audibleNotifications / weeks,
    floods: alarmFloods(times, to),
    chattering: chatteringAlarms(followed.onsets),
    fleeting: fleetingAlarms(raised),
    stale: staleAlarms(followed.raised, to),
    frequentAlarms: frequentAlarms(raised),
    unacknowledged: raised.filter(({ acknowledgedAt, endedAt }) => acknowledgedAt === null && endedAt !== null),
  };
}
