import { type FaultKind, ruleOf } from "../faults.ts";
import { after, between, inDays, inHours } from "../instant.ts";
import { momentWords } from "../localTime.ts";
import { chatterRule, daysWanted, judgedAfter, perFeederWeekMost } from "./ceilings.ts";
import type { Raising } from "./history.ts";
import { faultLoadsOf, loadersOf } from "./loaders.ts";
import type { Rates } from "./rates.ts";
import { remedyFor } from "./remedies.ts";

/** What the measures mean for the keeper, in words, and what to change. */
export interface Finding {
  readonly kind: "tooMany" | "load" | "flood" | "chatter" | "stale" | "fleeting" | "unanswered";
  readonly words: string;
}

/** From how many on one alarm is worth a word of its own, whatever its share. Ours: fewer than one a week. */
const loadWorthAWord = 4;
const saidAtMost = 3; // of one kind: a page of findings is no finding

/** The gravest first; empty where nothing is to be changed. */
export function findingsOf(rates: Rates): readonly Finding[] {
  return [
    ...floods(rates),
    ...tooMany(rates),
    ...load(rates),
    ...chatter(rates),
    ...unanswered(rates),
    ...stale(rates),
    ...fleeting(rates),
  ];
}

/** One or two sentences above all else. */
export function headline(rates: Rates): readonly string[] {
  const { days, raised, notes, feeders, perFeederWeek } = rates;
  if (feeders.length === 0) return ["This yard has no feeder yet, so nothing can alarm."];
  const span = days >= daysWanted ? `${daysWanted} days` : days === 0 ? "less than a day" : counted(days, "day");
  const where = counted(feeders.length, "feeder");
  const notesToo =
    notes.length === 0
      ? ""
      : ` Besides, ${counted(notes.length, "note")} for the digest, which ${notes.length === 1 ? "calls" : "call"} nobody.`;
  const young =
    days >= daysWanted
      ? []
      : [
          `Only ${days === 0 ? "part of a day is" : days === 1 ? "one day is" : `${days} days are`} known yet. The standard wants ${daysWanted} before one judges.`,
        ];
  if (raised.length === 0) return [`No alarm in ${span} at ${where}.${notesToo}`, ...young];
  const often = perFeederWeek < 0.1 ? "less than one in ten weeks" : `${tenths(perFeederWeek)} a week`;
  // A rate of a few days would say more than is known.
  const rate = days < 7 ? "" : `: ${often} at each`;
  return [`${counted(raised.length, "alarm")} in ${span} at ${where}${rate}.${notesToo}`, ...young];
}

function floods({ floods: all, raised, zone, to, feeders }: Rates): Finding[] {
  const worst = [...all].sort((one, other) => other.alarms - one.alarms)[0];
  if (worst === undefined) return [];
  const within = raised.slice(worst.first, worst.first + worst.alarms);
  const most = loadersOf(within)[0];
  const first = within[0];
  if (most === undefined || first === undefined) return [];
  const long =
    worst.to === null
      ? "and goes on"
      : `and lasted ${counted(Math.max(1, Math.round((worst.to - worst.from) / 60_000)), "minute")}`;
  const others = all.length === 1 ? "" : ` It was the worst of ${all.length}.`;
  const often = most.alarms === 1 ? "" : `; ${named(most, feeders)} came ${times(most.alarms)}`;
  const words =
    `A flood of ${worst.alarms} alarms began ${momentWords(worst.from, zone, to)} ${long}.${others} ` +
    `It began with ${named(first, feeders)}${often}. ` +
    "Look what they have in common, a supply or a network: one cause should be one alarm.";
  return [{ kind: "flood", words }];
}

function tooMany(rates: Rates): Finding[] {
  const { perFeederWeek, rangPerFeederWeek } = rates;
  if (after(rates.from, judgedAfter) > rates.to) return [];
  const pushed = rangPerFeederWeek ?? perFeederWeek;
  if (pushed <= perFeederWeekMost || rates.raised.length < loadWorthAWord) return [];
  const what = rangPerFeederWeek === null ? "alarms were raised" : "pushes rang";
  const words = `${tenths(pushed)} ${what} a week at each feeder. More than one teaches a keeper not to look.`;
  return [{ kind: "tooMany", words }];
}

/** One fault that makes half of the load or more, at one feeder or all over the yard. */
function load({ loaders, feeders, raised }: Rates): Finding[] {
  const [most] = faultLoadsOf(raised);
  if (most === undefined || most.share < 0.5 || most.alarms < loadWorthAWord) return [];
  const [alone] = loaders;
  // One feeder has it far more than the others: then it is that one that must be looked at.
  const mainly = alone !== undefined && alone.fault === most.fault && alone.alarms > 0.7 * most.alarms ? alone : most;
  const where = mainly.feeder === "" ? quoted(most.fault) : named(mainly, feeders);
  const words = `${where} makes ${shareWords(mainly.share)} (${mainly.alarms} of ${raised.length}): ${remedyFor(most.fault)}`;
  return [{ kind: "load", words }];
}

function chatter({ chattering, feeders, zone, to }: Rates): Finding[] {
  return chattering.slice(0, saidAtMost).map((each) => ({
    kind: "chatter",
    words:
      `${named(each, feeders)} chatters: it came ${times(each.most)} within ${chatterRule.within / 60_000} minute, first ${momentWords(each.at, zone, to)}. ` +
      `Until it is mended, take it out of service; and then: ${remedyFor(each.fault)}`,
  }));
}

function unanswered({ unanswered: over, raised, feeders }: Rates): Finding[] {
  const urgent = raised.filter(({ priority }) => priority === "urgent");
  const missed = over.filter(({ priority }) => priority === "urgent");
  if (missed.length < 2 || missed.length < urgent.length / 3) return [];
  const newest = missed.at(-1);
  const last = newest === undefined ? "" : ` The last was ${named(newest, feeders)}.`;
  const words =
    `${missed.length} of ${urgent.length} urgent alarms passed without anybody's acknowledging them.${last} ` +
    "See under Phones whether they can be reached, and whether somebody should be asked next.";
  return [{ kind: "unanswered", words }];
}

function stale({ stale: standing, feeders, to }: Rates): Finding[] {
  return standing.slice(0, saidAtMost).map((alarm): Finding => {
    const long = between(alarm.at, to);
    const span = inDays(long) < 2 ? `${Math.round(inHours(long))} hours` : `${Math.floor(inDays(long))} days`;
    const words =
      `${named(alarm, feeders)} has stood for ${span}. What stands for so long hides what is new: ` +
      "mend it, or take it out of service until you can.";
    return { kind: "stale", words };
  });
}

function fleeting({ fleeting: passing, feeders }: Rates): Finding[] {
  const often = loadersOf(passing).filter(({ alarms }) => alarms > 1);
  return often.slice(0, saidAtMost).map((each) => ({
    kind: "fleeting",
    words: `${named(each, feeders)} was gone again within two minutes, ${times(each.alarms)}: nobody can act on that. ${sentence(remedyFor(each.fault))}`,
  }));
}

type Named = Pick<Raising, "feeder" | "fault">;

function named(alarm: Named, feeders: Rates["feeders"]): string {
  const feeder = feeders.find(({ id }) => id === alarm.feeder);
  return feeder === undefined ? quoted(alarm.fault) : `${quoted(alarm.fault)} at ${feeder.name}`;
}

const quoted = (fault: FaultKind) => `“${sentence(ruleOf(fault).title)}”`;
const sentence = (words: string) => words.charAt(0).toUpperCase() + words.slice(1);

/** "two thirds of all alarms" */
export function shareWords(share: number): string {
  if (share >= 0.995) return "all alarms";
  if (share >= 0.9) return "nearly all alarms";
  if (share >= 0.71) return "three quarters of all alarms";
  if (share >= 0.62) return "two thirds of all alarms";
  if (share >= 0.45) return "half of all alarms";
  if (share >= 0.29) return "a third of all alarms";
  return `${Math.round(100 * share)} % of all alarms`;
}

const counted = (count: number, one: string) => `${count} ${one}${count === 1 ? "" : "s"}`;
const times = (count: number) => (count === 1 ? "once" : count === 2 ? "twice" : `${count} times`);
const tenths = (value: number) => `${Math.round(10 * value) / 10}`;
