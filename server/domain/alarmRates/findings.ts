import { texts } from "../../text/index.ts";
import { type FaultKind, ruleOf } from "../faults.ts";
import { after, between, days, inDays, inHours, minutes } from "../instant.ts";
import { momentText } from "../localTime.ts";
import type { RaisedAlarm } from "./history.ts";
import { type AlarmRates, frequentAlarms, worstTenMinutes } from "./rates.ts";

/** What the history means for the keeper, and what to change. */
export interface RatesFinding {
  readonly kind: "flood" | "tooMany" | "load" | "unacknowledged" | "stale" | "fleeting";
  readonly text: string;
}

/**
 * The standard's figures for an alarm system's own health are meant for an operator at a console: for a phone in a pocket its
 * rates are far too high, so those are ours. Sources: ANSI/ISA-18.2-2016 clause 16, IEC 62682:2014, EEMUA 191.
 */
const floodAbove = 10; // within ten minutes
/** "Short, and not repeated at once": that is the next check or the one after. The length is ours. */
const fleetingSpanMax = minutes(2);
const perFeederWeekMax = 1;
/** A rate is judged after so long: while a yard is set up, alarms are tried. */
const judgedSpanMin = days(7);
/** From how many on alarms are a finding, whatever their share: fewer than one a week. */
const loadFindingMin = 4;
const fleetingFindingsMax = 3; // a page of findings is no finding

/** The most important first; empty where nothing is to be changed. */
export const ratesFindings = (rates: AlarmRates): readonly RatesFinding[] => [
  ...floodFindings(rates),
  ...tooManyFindings(rates),
  ...loadFindings(rates),
  ...unacknowledgedFindings(rates),
  ...staleFindings(rates),
  ...fleetingFindings(rates),
];

export function ratesHeadline({ days, raised, notes, feeders, perFeederWeek }: AlarmRates): string {
  if (feeders.length === 0) return texts.alarmRates.noFeederText;
  const frequency =
    perFeederWeek < 0.1
      ? texts.alarmRates.lessThanTenth
      : texts.alarmRates.perWeek(`${Math.round(10 * perFeederWeek) / 10}`);
  // A rate from a few days would claim more than is known.
  const rate = raised.length === 0 || days < 7 ? null : frequency;
  const headline = texts.alarmRates.headline(raised.length, days, feeders.length, rate);
  return notes.length === 0 ? headline : `${headline} ${texts.alarmRates.notes(notes.length)}`;
}

function floodFindings({ raised, feeders, zone, to }: AlarmRates): RatesFinding[] {
  const flood = worstTenMinutes(raised);
  const [first] = flood;
  if (first === undefined || flood.length <= floodAbove) return [];
  const from = momentText(first.raisedAt, zone, to);
  return [{ kind: "flood", text: texts.alarmRates.flood(flood.length, from, alarmName(first, feeders)) }];
}

function tooManyFindings({ from, to, raised, perFeederWeek }: AlarmRates): RatesFinding[] {
  const isJudged = after(from, judgedSpanMin) <= to && raised.length >= loadFindingMin;
  return isJudged && perFeederWeek > perFeederWeekMax ? [{ kind: "tooMany", text: texts.alarmRates.tooMany }] : [];
}

/** The fault that makes half of the load or more; with its feeder where that one has it far more than the others. */
function loadFindings({ raised, feeders }: AlarmRates): RatesFinding[] {
  const [fault] = frequentAlarms(raised.map((alarm) => ({ ...alarm, feeder: "" })));
  if (fault === undefined || fault.alarmCount < Math.max(loadFindingMin, raised.length / 2)) return [];
  const single = frequentAlarms(raised.filter((alarm) => alarm.fault === fault.fault))[0] ?? fault;
  const load = single.alarmCount > 0.7 * fault.alarmCount ? single : fault;
  const name = alarmName(load, feeders);
  return [{ kind: "load", text: texts.alarmRates.load(name, load.alarmCount, raised.length, remedyText(load.fault)) }];
}

function unacknowledgedFindings({ raised, feeders }: AlarmRates): RatesFinding[] {
  const urgent = raised.filter(({ priority }) => priority === "urgent");
  const missed = urgent.filter(({ acknowledgedAt, endedAt }) => acknowledgedAt === null && endedAt !== null);
  const last = missed.at(-1);
  if (last === undefined || missed.length < 2 || missed.length < urgent.length / 3) return [];
  const message = texts.alarmRates.unacknowledged(missed.length, urgent.length, alarmName(last, feeders));
  return [{ kind: "unacknowledged", text: message }];
}

const staleFindings = ({ stale, feeders, to }: AlarmRates): RatesFinding[] =>
  stale.map((alarm) => {
    const active = between(alarm.raisedAt, to);
    const span =
      inDays(active) < 2
        ? texts.alarmRates.hours(Math.round(inHours(active)))
        : texts.alarmRates.days(Math.floor(inDays(active)));
    return { kind: "stale", text: texts.alarmRates.stale(alarmName(alarm, feeders), span) };
  });

/** Alarms that ended more than once before anybody could act. */
function fleetingFindings({ raised, feeders }: AlarmRates): RatesFinding[] {
  const fleeting = raised.filter(
    ({ raisedAt, endedAt, acknowledgedAt }) =>
      endedAt !== null &&
      between(raisedAt, endedAt) <= fleetingSpanMax &&
      (acknowledgedAt === null || acknowledgedAt > endedAt),
  );
  return frequentAlarms(fleeting)
    .filter(({ alarmCount }) => alarmCount > 1)
    .slice(0, fleetingFindingsMax)
    .map((alarm) => ({
      kind: "fleeting",
      text: texts.alarmRates.fleeting(alarmName(alarm, feeders), alarm.alarmCount, remedyText(alarm.fault)),
    }));
}

function alarmName(alarm: Pick<RaisedAlarm, "feeder" | "fault">, feeders: AlarmRates["feeders"]): string {
  const feeder = feeders.find(({ id }) => id === alarm.feeder);
  const title = capitalized(ruleOf(alarm.fault).title);
  return feeder === undefined ? texts.alarmRates.quoted(title) : texts.alarmRates.quotedAt(title, feeder.name);
}

const remedies: { readonly [fault in FaultKind]?: string } = texts.alarmRates.remedies;
/** What to change, to be continued in a sentence. */
export const remedyText = (fault: FaultKind): string => remedies[fault] ?? uncapitalized(ruleOf(fault).advice);

const capitalized = (text: string) => text.charAt(0).toUpperCase() + text.slice(1);
const uncapitalized = (text: string) => text.charAt(0).toLowerCase() + text.slice(1);
