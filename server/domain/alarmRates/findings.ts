import { type FaultKind, ruleOf } from "../faults.ts";
import { after, between, inDays, inHours } from "../instant.ts";
import { momentText } from "../localTime.ts";
import { chatterRule, daysMin, judgedAfter, perFeederWeekMost } from "./ceilings.ts";
import { frequentAlarms, frequentFaults } from "./frequentAlarms.ts";
import type { RaisedAlarm } from "./history.ts";
import type { AlarmRates } from "./rates.ts";
import { remedyText } from "./remedies.ts";

/** What the measures mean for the keeper, in words, and what to change. */
export interface RatesFinding {
  readonly kind: "tooMany" | "load" | "flood" | "chatter" | "stale" | "fleeting" | "unacknowledged";
  readonly text: string;
}

/** From how many on one alarm is worth a word of its own, whatever its share. Ours: fewer than one a week. */
const loadFindingMin = 4;
const namedMax = 3; // of one kind: a page of findings is no finding

/** The gravest first; empty where nothing is to be changed. */
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

/** One or two sentences above all else. */
export function ratesHeadline(rates: AlarmRates): readonly string[] {
  const { days, raised, notes, feeders, perFeederWeek } = rates;
  if (feeders.length === 0) return ["This yard has no feeder yet, so nothing can alarm."];
  const span = days >= daysMin ? `${daysMin} days` : days === 0 ? "less than a day" : countText(days, "day");
  const where = countText(feeders.length, "feeder");
  const notesToo =
    notes.length === 0
      ? ""
      : ` Besides, ${countText(notes.length, "note")} for the digest, which ${notes.length === 1 ? "calls" : "call"} nobody.`;
  const young =
    days >= daysMin
      ? []
      : [
          `Only ${days === 0 ? "part of a day is" : days === 1 ? "one day is" : `${days} days are`} known yet. The standard wants ${daysMin} before one judges.`,
        ];
  if (raised.length === 0) return [`No alarm in ${span} at ${where}.${notesToo}`, ...young];
  const often = perFeederWeek < 0.1 ? "less than one in ten weeks" : `${tenthsText(perFeederWeek)} a week`;
  // A rate of a few days would say more than is known.
  const rate = days < 7 ? "" : `: ${often} at each`;
  return [`${countText(raised.length, "alarm")} in ${span} at ${where}${rate}.${notesToo}`, ...young];
}

function floodFindings({ floods, raised, zone, to, feeders }: AlarmRates): RatesFinding[] {
  const worst = [...floods].sort((one, other) => other.alarmCount - one.alarmCount)[0];
  if (worst === undefined) return [];
  const within = raised.slice(worst.firstIndex, worst.firstIndex + worst.alarmCount);
  const most = frequentAlarms(within)[0];
  const first = within[0];
  if (most === undefined || first === undefined) return [];
  const long =
    worst.to === null
      ? "and goes on"
      : `and lasted ${countText(Math.max(1, Math.round((worst.to - worst.from) / 60_000)), "minute")}`;
  const others = floods.length === 1 ? "" : ` It was the worst of ${floods.length}.`;
  const often = most.alarmCount === 1 ? "" : `; ${alarmName(most, feeders)} came ${timesText(most.alarmCount)}`;
  const words =
    `A flood of ${worst.alarmCount} alarms began ${momentText(worst.from, zone, to)} ${long}.${others} ` +
    `It began with ${alarmName(first, feeders)}${often}. ` +
    "Look what they have in common, a supply or a network: one cause should be one alarm.";
  return [{ kind: "flood", text: words }];
}

function tooManyFindings(rates: AlarmRates): RatesFinding[] {
  const { perFeederWeek, audiblePerFeederWeek } = rates;
  if (after(rates.from, judgedAfter) > rates.to) return [];
  const pushed = audiblePerFeederWeek ?? perFeederWeek;
  if (pushed <= perFeederWeekMost || rates.raised.length < loadFindingMin) return [];
  const what = audiblePerFeederWeek === null ? "alarms were raised" : "pushes rang";
  const words = `${tenthsText(pushed)} ${what} a week at each feeder. More than one teaches a keeper not to look.`;
  return [{ kind: "tooMany", text: words }];
}

/** One fault that makes half of the load or more, at one feeder or all over the yard. */
function loadFindings({ frequentAlarms, feeders, raised }: AlarmRates): RatesFinding[] {
  const [most] = frequentFaults(raised);
  if (most === undefined || most.share < 0.5 || most.alarmCount < loadFindingMin) return [];
  const [alone] = frequentAlarms;
  // One feeder has it far more than the others: then it is that one that must be looked at.
  const mainly =
    alone !== undefined && alone.fault === most.fault && alone.alarmCount > 0.7 * most.alarmCount ? alone : most;
  const where = mainly.feeder === "" ? quotedTitle(most.fault) : alarmName(mainly, feeders);
  const words = `${where} makes ${shareText(mainly.share)} (${mainly.alarmCount} of ${raised.length}): ${remedyText(most.fault)}`;
  return [{ kind: "load", text: words }];
}

function chatterFindings({ chattering, feeders, zone, to }: AlarmRates): RatesFinding[] {
  return chattering.slice(0, namedMax).map((each) => ({
    kind: "chatter",
    text:
      `${alarmName(each, feeders)} chatters: it came ${timesText(each.perMinuteMax)} within ${chatterRule.within / 60_000} minute, first ${momentText(each.at, zone, to)}. ` +
      `Until it is mended, take it out of service; and then: ${remedyText(each.fault)}`,
  }));
}

function unacknowledgedFindings({ unacknowledged, raised, feeders }: AlarmRates): RatesFinding[] {
  const urgent = raised.filter(({ priority }) => priority === "urgent");
  const missed = unacknowledged.filter(({ priority }) => priority === "urgent");
  if (missed.length < 2 || missed.length < urgent.length / 3) return [];
  const newest = missed.at(-1);
  const last = newest === undefined ? "" : ` The last was ${alarmName(newest, feeders)}.`;
  const words =
    `${missed.length} of ${urgent.length} urgent alarms passed without anybody's acknowledging them.${last} ` +
    "See under Phones whether they can be reached, and whether somebody should be asked next.";
  return [{ kind: "unacknowledged", text: words }];
}

function staleFindings({ stale, feeders, to }: AlarmRates): RatesFinding[] {
  return stale.slice(0, namedMax).map((alarm): RatesFinding => {
    const long = between(alarm.raisedAt, to);
    const span = inDays(long) < 2 ? `${Math.round(inHours(long))} hours` : `${Math.floor(inDays(long))} days`;
    const words =
      `${alarmName(alarm, feeders)} has stood for ${span}. What stands for so long hides what is new: ` +
      "mend it, or take it out of service until you can.";
    return { kind: "stale", text: words };
  });
}

function fleetingFindings({ fleeting, feeders }: AlarmRates): RatesFinding[] {
  const often = frequentAlarms(fleeting).filter(({ alarmCount }) => alarmCount > 1);
  return often.slice(0, namedMax).map((each) => ({
    kind: "fleeting",
    text: `${alarmName(each, feeders)} was gone again within two minutes, ${timesText(each.alarmCount)}: nobody can act on that. ${capitalized(remedyText(each.fault))}`,
  }));
}

type Named = Pick<RaisedAlarm, "feeder" | "fault">;

function alarmName(alarm: Named, feeders: AlarmRates["feeders"]): string {
  const feeder = feeders.find(({ id }) => id === alarm.feeder);
  return feeder === undefined ? quotedTitle(alarm.fault) : `${quotedTitle(alarm.fault)} at ${feeder.name}`;
}

const quotedTitle = (fault: FaultKind) => `“${capitalized(ruleOf(fault).title)}”`;
const capitalized = (words: string) => words.charAt(0).toUpperCase() + words.slice(1);

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
