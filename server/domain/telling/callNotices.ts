import { type FaultKind, ruleOf } from "../faults.ts";
import { between, earlier, type Instant, later, minutes } from "../instant.ts";
import { momentWords } from "../localTime.ts";
import type { Notice, NoticeAnswer } from "../notification.ts";
import { inWords } from "../silence/spanWords.ts";
import type { Call, CallNews, Telling } from "./call.ts";
import { closingTimeToLive, ringTimeToLive } from "./gaps.ts";
import { isLost } from "./reached.ts";

/** The words of a call for one person. All of one call have its topic, so the newest stands alone on the screen. */

/** It rings: for the first time, or again. */
export function ringing(call: Call, reminder: boolean, zone: string, now: Instant): Notice {
  const asked = asking(call);
  return { ...asked, body: `${preface(call, reminder, zone, now)}${asked.body}`, quiet: false };
}

/** The same alarm in newer words, or again what it was: in place of what stands there, without a sound. */
export const corrected = (call: Call): Notice => ({ ...asking(call), quiet: true });

/** It asks for nothing any more. */
export const closing = (call: Call, { title, body }: CallNews): Notice => ({
  fault: call.fault,
  priority: call.priority,
  topic: call.topic,
  timeToLive: closingTimeToLive,
  title,
  body,
  quiet: true,
  raisedAt: call.raisedAt,
  closes: true,
});

export const telling = (call: Call, person: string, by: Telling["by"], notice: Notice): Telling => ({
  person,
  by,
  yard: call.yard,
  feeder: call.feeder,
  notice,
});

/** "Ada has seen it: food out at Rowan" */
export function seenNews(call: Call, by: string): CallNews {
  const said = `${call.name}: `;
  const what = call.title.startsWith(said) ? call.title.slice(said.length) : ruleOf(call.fault).title;
  return {
    title: `${by} has seen it: ${what} at ${call.name}`,
    body: "Nothing more is asked of you unless it grows worse.",
  };
}

/** "Rowan: set aside" */
export const setAsideNews = (call: Call, words: string): CallNews => ({
  title: `${call.name}: set aside`,
  body: `${words} Nothing is asked of you for now.`.trim(),
});

/**
 * Where no food or not enough of it comes out, each press and deposit that goes unpaid teaches the birds not to come; a
 * pause stops that. It helps nothing else, and a silent feeder couldn't hear it.
 */
const pauseHelps: ReadonlySet<FaultKind> = new Set([
  "motorNotTurning",
  "motorStalled",
  "foodOut",
  "trayJammed",
  "feedBridged",
  "feedStopped",
  "depositUnpaid",
]);

function answersTo(call: Call): readonly NoticeAnswer[] {
  if (call.acknowledgedBy !== null) return [];
  return call.feeder !== null && pauseHelps.has(call.fault) ? ["acknowledge", "pause"] : ["acknowledge"];
}

const asking = (call: Call): Omit<Notice, "quiet"> => ({
  fault: call.fault,
  priority: call.priority,
  topic: call.topic,
  timeToLive: ringTimeToLive[call.priority],
  title: call.title,
  body: `${call.body}${alsoWords(call.alsoAt)}`,
  raisedAt: call.raisedAt,
  answers: answersTo(call),
  ...answersAt(call),
});

/** " Also at Larch and Birch." */
function alsoWords(names: readonly string[]): string {
  if (names.length === 0) return "";
  const said = names.length <= 3 ? names : [...names.slice(0, 2), `${names.length - 2} more`];
  return ` Also at ${[said.slice(0, -1).join(", "), said.at(-1)].filter((words) => words !== "").join(" and ")}.`;
}

/** Any of the silent feeders will do: whoever has seen that one is silent has seen why they all are. */
function answersAt({ feeder, silent: [one] }: Call): Pick<Notice, "answersAt"> {
  if (feeder !== null || one === undefined) return {};
  return { answersAt: { feeder: one.feeder, raisedAt: one.raisedAt } };
}

/** Later than this its own words ("nothing heard for 3 minutes") need a time beside them. */
const freshFor = minutes(5);

/** What has passed since the alarm's own words were true, as far as it matters to who reads them now. */
function preface(call: Call, reminder: boolean, zone: string, now: Instant): string {
  if (reminder) return `Still so after ${inWords(between(call.freshAt, now))}, and nobody has answered. `;
  const earlierRing = firstRing(call);
  if (earlierRing !== null && earlierRing < now) {
    return `Nobody has answered for ${inWords(between(earlierRing, now))}. `;
  }
  return between(call.freshAt, now) < freshFor ? "" : `Since ${momentWords(call.freshAt, zone, now)}. `;
}

function firstRing(call: Call): Instant | null {
  const { told, freshAt } = call;
  const rings = told.filter((one) => one.times > 0 && !isLost(call, one)).map(({ firstAt }) => later(firstAt, freshAt));
  return rings.length === 0 ? null : rings.reduce(earlier);
}
