import { type FaultKind, ruleOf } from "../faults.ts";
import { after, between, inDays, inHours } from "../instant.ts";
import { momentText } from "../localTime.ts";
import { frequentAlarms, frequentFaults } from "./frequentAlarms.ts";
import type { RaisedAlarm } from "./history.ts";
import { chatterRule, daysMin, judgedSpanMin, perFeederWeekMax } from "./limits.ts";
import type { AlarmRates } from "./rates.ts";
import { remedyText } from "./remedies.ts";

/** What the measures mean for the keeper, and what to change. */
export interface RatesFinding {
  readonly kind: "tooMany" | "load" | "flood" | "chatter" | "stale" | "fleeting" | "unacknowledged";
  readonly text: string;
}

/** From how many on one alarm is a finding, whatever its share. Our choice: fewer than one a week. */
const loadFindingMin = 4;
const namedMax = 3; // of one kind: a page of findings is no finding

/** The most important first; empty where nothing is to be changed. */
export function ratesFindings(rates: AlarmRates): readonly RatesFinding[] {
  return [
    ...floodFindings(rates),
    ...tooManyFindings(rates),
    ...loadFindings(rates),
    ...chatterFindings(rates),
    ...unacknowledgedFindings(rates),
    ...staleFindings(rates),
    ...fleetingFindings(rates),
  ];
}

/** One or two sentences for the top. */
export function ratesHeadline(rates: AlarmRates): readonly string[] {
  const { days, raised, notes, feeders, perFeederWeek } = rates;
  if (feeders.length === 0) return ["This yard has no feeder yet, so there are no alarms."];
  const span = days >= daysMin ? `${daysMin} days` : days === 0 ? "less than a day" : countText(days, "day");
  const where = countText(feeders.length, "feeder");
  const notesText =
    notes.length === 0
      ? ""
      : ` Besides, ${countText(notes.length, "note")} for the digest, which ${notes.length === 1 ? "calls" : "call"} nobody.`;
  const shortData =
    days >= daysMin
      ? []
      : [
          `Only ${days === 0 ? "part of a day is" : days === 1 ? "one day is" : `${days} days are`} known yet. The standard wants ${daysMin} before one judges.`,
        ];
  if (raised.length === 0) return [`No alarm in ${span} at ${where}.${notesText}`, ...shortData];
  const frequency = perFeederWeek < 0.1 ? "less than one in ten weeks" : `${tenthsText(perFeederWeek)} a week`;
  // A rate from a few days would claim more than is known.
  const rate = days < 7 ? "" : `: ${frequency} at each`;
  return [`${countText(raised.length, "alarm")} in ${span} at ${where}${rate}.${notesText}`, ...shortData];
}

function floodFindings({ floods, raised, zone, to, feeders }: AlarmRates): RatesFinding[] {
  const worst = [...floods].sort((one, other) => other.alarmCount - one.alarmCount)[0];
  if (worst === undefined) return [];
  const floodAlarms = raised.slice(worst.firstIndex, worst.firstIndex + worst.alarmCount);
  const mostFrequent = frequentAlarms(floodAlarms)[0];
  const first = floodAlarms[0];
  if (mostFrequent === undefined || first === undefined) return [];
  const durationText =
    worst.to === null
      ? "and goes on"
      : `and lasted ${countText(Math.max(1, Math.round((worst.to - worst.from) / 60_000)), "minute")}`;
  const comparison = floods.length === 1 ? "" : ` It was the worst of ${floods.length}.`;
  const frequency =
    mostFrequent.alarmCount === 1
      ? ""
      : `; ${alarmName(mostFrequent, feeders)} came ${timesText(mostFrequent.alarmCount)}`;
  const text =
    `A flood of ${worst.alarmCount} alarms began ${momentText(worst.from, zone, to)} ${durationText}.${comparison} ` +
    `It began with ${alarmName(first, feeders)}${frequency}. ` +
    "Check what they share, for example power or network.";
  return [{ kind: "flood", text }];
}

function tooManyFindings(rates: AlarmRates): RatesFinding[] {
  const { perFeederWeek, audiblePerFeederWeek } = rates;
  if (after(rates.from, judgedSpanMin) > rates.to) return [];
  const rate = audiblePerFeederWeek ?? perFeederWeek;
  if (rate <= perFeederWeekMax || rates.raised.length < loadFindingMin) return [];
  const what = audiblePerFeederWeek === null ? "alarms were raised" : "pushes rang";
  const text = `${tenthsText(rate)} ${what} a week at each feeder. With more than one, people stop reading them.`;
  return [{ kind: "tooMany", text }];
}

/** One fault that makes half of the load or more, at one feeder or all over the yard. */
function loadFindings({ frequentAlarms, feeders, raised }: AlarmRates): RatesFinding[] {
  const [mostFrequent] = frequentFaults(raised);
  if (mostFrequent === undefined || mostFrequent.share < 0.5 || mostFrequent.alarmCount < loadFindingMin) return [];
  const [single] = frequentAlarms;
  // One feeder has it far more than the others: then that one must be checked.
  const source =
    single !== undefined && single.fault === mostFrequent.fault && single.alarmCount > 0.7 * mostFrequent.alarmCount
      ? single
      : mostFrequent;
  const where = source.feeder === "" ? quotedTitle(mostFrequent.fault) : alarmName(source, feeders);
  const text = `${where} makes ${shareText(source.share)} (${source.alarmCount} of ${raised.length}): ${remedyText(mostFrequent.fault)}`;
  return [{ kind: "load", text }];
}

function chatterFindings({ chattering, feeders, zone, to }: AlarmRates): RatesFinding[] {
  return chattering.slice(0, namedMax).map((alarm) => ({
    kind: "chatter",
    text:
      `${alarmName(alarm, feeders)} came and went ${timesText(alarm.perMinuteMax)} within ${chatterRule.within / 60_000} minute, first ${momentText(alarm.at, zone, to)}. ` +
      `Take it out of service until it is repaired. Then: ${remedyText(alarm.fault)}`,
  }));
}

function unacknowledgedFindings({ unacknowledged, raised, feeders }: AlarmRates): RatesFinding[] {
  const urgent = raised.filter(({ priority }) => priority === "urgent");
  const unacknowledgedUrgent = unacknowledged.filter(({ priority }) => priority === "urgent");
  if (unacknowledgedUrgent.length < 2 || unacknowledgedUrgent.length < urgent.length / 3) return [];
  const lastText = unacknowledgedUrgent
    .slice(-1)
    .map((newest) => ` The last was ${alarmName(newest, feeders)}.`)
    .join();
  const text =
    `${unacknowledgedUrgent.length} of ${urgent.length} urgent alarms were not acknowledged.${lastText} ` +
    "See under Phones whether they can be reached, and whether another recipient should be notified next.";
  return [{ kind: "unacknowledged", text }];
}

function staleFindings({ stale, feeders, to }: AlarmRates): RatesFinding[] {
  return stale.slice(0, namedMax).map((alarm): RatesFinding => {
    const durationText = between(alarm.raisedAt, to);
    const span =
      inDays(durationText) < 2
        ? `${Math.round(inHours(durationText))} hours`
        : `${Math.floor(inDays(durationText))} days`;
    const text = `${alarmName(alarm, feeders)} has been active for ${span}. Repair it, or take it out of service.`;
    return { kind: "stale", text };
  });
}

function fleetingFindings({ fleeting, feeders }: AlarmRates): RatesFinding[] {
  const frequency = frequentAlarms(fleeting).filter(({ alarmCount }) => alarmCount > 1);
  return frequency.slice(0, namedMax).map((alarm) => ({
    kind: "fleeting",
    text: `${alarmName(alarm, feeders)} ended within two minutes, ${timesText(alarm.alarmCount)}. ${capitalized(remedyText(alarm.fault))}`,
  }));
}

type Named = Pick<RaisedAlarm, "feeder" | "fault">;

function alarmName(alarm: Named, feeders: AlarmRates["feeders"]): string {
  const feeder = feeders.find(({ id }) => id === alarm.feeder);
  return feeder === undefined ? quotedTitle(alarm.fault) : `${quotedTitle(alarm.fault)} at ${feeder.name}`;
}

const quotedTitle = (fault: FaultKind) => `“${capitalized(ruleOf(fault).title)}”`;
const capitalized = (text: string) => text.charAt(0).toUpperCase() + text.slice(1);

/** "two thirds of all alarms" */
export function shareText(share: number): string {
  if (share >= 0.995) return "all alarms";
  if (share >= 0.9) return "nearly all alarms";
  if (share >= 0.71) return "three quarters of all alarms";
  if (share >= 0.62) return "two thirds of all alarms";
  if (share >= 0.45) return "half of all alarms";
  if (share >= 0.29) return "a third of all alarms";
  return `${Math.round(100 * share)} % of all alarms`;
}

const countText = (count: number, one: string) => `${count} ${one}${count === 1 ? "" : "s"}`;
const timesText = (count: number) => (count === 1 ? "once" : count === 2 ? "twice" : `${count} times`);
const tenthsText = (value: number) => `${Math.round(10 * value) / 10}`;
