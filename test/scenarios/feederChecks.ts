import type { AlarmView, FeederView, OrderView } from "../../server/contract/api.ts";
import { type FeederKnowledge, minute } from "./knowledge.ts";
import {
  claimsConfirmed,
  claimsFeeding,
  claimsKeeperSaid,
  claimsPaused,
  claimsWell,
  confirmedClaimAt,
  textFlaws,
} from "./texts.ts";

/** One place where a screen claims more than was known, or a rule of the protocol was broken. */
export interface Violation {
  readonly rule: Rule;
  readonly about: string;
  readonly displayed: string;
  readonly known: string;
}

export const rules = {
  confirmed: "a pause is called confirmed only while the feeder's newest known fact is that it is paused",
  resumed: "a resume is called confirmed, and feeding usual, only while nothing newer states that it is paused",
  lastStatement: "the shown statement is the feeder's last one",
  overdue: "an order that is not carried out is shown as such by its deadline, counted from the request",
  foodThoughPaused: "food given while paused is an urgent alarm within the same step",
  contradiction:
    "a feeder that reports that it is paused and then that it is not is an urgent alarm within the same step",
  well: "nothing is called OK beside an alarm, an unknown level, a silence or an open order",
  byHand: "a feeder that reported once by hand is not an urgent silence",
  signOfLife: "a feeder whose reports arrive is not called silent, readable or not",
  unreadable: "a feeder whose reports can't be read is shown as such",
  bootReused: "a feeder that starts again under its old boot id is shown as such",
  reach: "a phone or person is called reachable only with a display receipt for the present address",
  gonePhone: "a phone whose push service answered that it is gone is not listed as one that can be notified",
  renotification:
    "an urgent alarm that nobody was shown is pushed to a phone that becomes available, as soon as its person's escalation level is reached",
  stored: "storedThrough covers no event that is not in the database",
  eventKept: "no acknowledged event is lost, changed or stored twice",
  reading: "one bad reading is rejected alone, and a misspelt one is named",
  text: "no text holds a raw time, a symbol of a statistic or a value of the program",
  attributed: "nothing is attributed to a keeper who entered nothing",
  server: "nothing answers 500",
} as const;
export type Rule = keyof typeof rules;

export const violation = (rule: Rule, about: string, shown: unknown, known: string): Violation => ({
  rule,
  about,
  displayed: typeof shown === "string" ? shown : JSON.stringify(shown),
  known,
});

/** What the checks may know of a feeder besides what it reported. */
export interface FeederTerms {
  readonly reportEverySeconds: number;
  readonly byHand: boolean;
  /** Whether the keeper has entered anything about food and portions. */
  readonly settingsSaid: boolean;
}

/** By how much a step of the simulation may come after a moment that falls between two. */
const stepSlack = 2 * minute;

/** Two reports' time and half a minute, a minute at least: the deadline that the order's own documentation names. */
const orderDeadline = (reportEverySeconds: number): number => Math.max(minute, 2_000 * reportEverySeconds + minute / 2);

/** Longer than any silence that its rhythm explains: a quarter of an hour, five reports, or as long as it was quiet before. */
const silentAfter = (known: FeederKnowledge, reportEverySeconds: number): number =>
  Math.max(15 * minute, 5_000 * reportEverySeconds, Math.min(known.longestGapMs, 60 * minute));

const nameOf = ({ name }: FeederView): string => name;
const isUrgent = ({ priority }: AlarmView): boolean => priority === "urgent";
const titled = (view: FeederView, pattern: RegExp, only: (alarm: AlarmView) => boolean = () => true) =>
  view.alarms.some((alarm) => pattern.test(alarm.title) && only(alarm));
const titlesOf = (view: FeederView): string =>
  view.alarms.map(({ title, priority, state }) => `${title} (${priority}, ${state})`).join(", ") || "no alarm";

/** All checks of one feeder's view. */
export function checkFeeder(view: FeederView, known: FeederKnowledge, terms: FeederTerms, now: number): Violation[] {
  return [
    ...checkPause(view, known, now),
    ...checkDeadline(view, known, terms, now),
    ...checkPauseAlarms(view, known, now),
    ...checkAllClear(nameOf(view), view.summary, view, known, terms, now),
    ...checkSilence(view, known, terms, now),
    ...checkReportAlarms(view, known, now),
    ...checkTexts(nameOf(view), textsOf(view), terms.settingsSaid),
  ];
}

function checkPause(view: FeederView, known: FeederKnowledge, now: number): Violation[] {
  const found: Violation[] = [];
  const feeding = known.feeding(now);
  const { order, statement } = view.pause;
  const about = nameOf(view);
  const ended = order?.until != null && Date.parse(order.until) <= now;
  if (order?.status === "confirmed" && order.kind === "pause" && !ended && feeding !== "paused") {
    found.push(violation("confirmed", about, order, `newest known: ${feeding}`));
  }
  if (order?.status === "confirmed" && order.kind === "resume" && feeding === "paused") {
    found.push(violation("resumed", about, order, "newest known: it reports that it is paused"));
  }
  if (claimsPaused(view.summary) && feeding !== "paused") {
    found.push(violation("confirmed", about, view.summary, `newest known: ${feeding}`));
  }
  if (claimsFeeding(view.summary) && feeding === "paused") {
    found.push(violation("resumed", about, view.summary, "newest known: it reports that it is paused"));
  }
  const statements = known.statements();
  if (statement !== null && !statements.includes(statement.paused)) {
    found.push(
      violation(
        "lastStatement",
        about,
        statement,
        `its last statement of paused: ${statements.join(" or ") || "nothing"}`,
      ),
    );
  }
  return found;
}

function checkDeadline(view: FeederView, known: FeederKnowledge, terms: FeederTerms, now: number): Violation[] {
  const order = known.newestOrder();
  if (order === null || known.openSince === null) return [];
  if (now - known.openSince <= orderDeadline(terms.reportEverySeconds) + stepSlack) return [];
  const status = view.pause.order?.status;
  if (status === "overdue" || status === "refused" || titled(view, /paus|resum/i, isUrgent)) return [];
  const waits = Math.round((now - known.openSince) / minute);
  return [
    violation(
      "overdue",
      nameOf(view),
      view.pause.order ?? "no order",
      `its ${order.kind} has been open for ${waits} min`,
    ),
  ];
}

function checkPauseAlarms(view: FeederView, known: FeederKnowledge, now: number): Violation[] {
  if (titled(view, /paus/i, isUrgent)) return [];
  const found: Violation[] = [];
  const at = (what: string) => `${what} reached the server in this step`;
  if (known.foodThoughPausedAt === now) {
    found.push(violation("foodThoughPaused", nameOf(view), titlesOf(view), at("a portion given while paused")));
  }
  if (known.contradictedAt === now) {
    found.push(violation("contradiction", nameOf(view), titlesOf(view), at("paused: false after its own done")));
  }
  return found;
}

/** Why nothing may be called OK just now; null where all that is known is good. */
function whyNotWell(
  view: FeederView,
  known: FeederKnowledge,
  { reportEverySeconds }: FeederTerms,
  now: number,
): string | null {
  // One that has returned to normal is over, and only not acknowledged yet: nothing bad is there (ISA-18.2).
  if (view.alarms.some(({ state }) => state !== "returnedUnacknowledged")) return titlesOf(view);
  if (view.hopper.level === null) return "its level is unknown";
  if (known.lastReadableAt === null) return "it never reported";
  if (known.unreadableSince !== null && now - known.unreadableSince > 15 * minute) return "its reports can't be read";
  const silence = now - known.lastReadableAt;
  if (silence > silentAfter(known, reportEverySeconds))
    return `it was last read ${Math.round(silence / minute)} min ago`;
  const order = known.newestOrder();
  if (order !== null && known.openSince !== null) return `its ${order.kind} is open`;
  return null;
}

/** @param text a line of a screen about this feeder */
export function checkAllClear(
  where: string,
  text: string,
  view: FeederView,
  known: FeederKnowledge,
  terms: FeederTerms,
  now: number,
): Violation[] {
  const why = claimsWell(text) ? whyNotWell(view, known, terms, now) : null;
  return why === null ? [] : [violation("well", where, text, why)];
}

/** Alarm states in which the fault is there now. */
const stands: ReadonlySet<string> = new Set(["unacknowledged", "acknowledged"]);

function checkSilence(view: FeederView, known: FeederKnowledge, terms: FeederTerms, now: number): Violation[] {
  const silent = view.alarms.find(({ title, state }) => /^no reports/i.test(title) && stands.has(state));
  if (silent === undefined) return [];
  const found: Violation[] = [];
  if (terms.byHand && silent.priority === "urgent") {
    found.push(
      violation("byHand", nameOf(view), titlesOf(view), `it reported ${known.readableReports} times, by hand`),
    );
  }
  if (known.lastArrivalAt === now && isUrgent(silent)) {
    found.push(violation("signOfLife", nameOf(view), titlesOf(view), "a report arrived in this very step"));
  }
  return found;
}

function checkReportAlarms(view: FeederView, known: FeederKnowledge, now: number): Violation[] {
  const found: Violation[] = [];
  const saysUnreadable = titled(view, /\bread\b/i) || /\bread\b/i.test(view.summary);
  if (known.unreadableSince !== null && now - known.unreadableSince > 15 * minute && !saysUnreadable) {
    const since = Math.round((now - known.unreadableSince) / minute);
    const fresh = known.lastArrivalAt !== null && now - known.lastArrivalAt < 5 * minute;
    if (fresh) found.push(violation("unreadable", nameOf(view), titlesOf(view), `unreadable reports for ${since} min`));
  }
  if (known.bootReusedAt === now && !titled(view, /\bboot id\b/i)) {
    found.push(violation("bootReused", nameOf(view), titlesOf(view), "its uptime began again under a known boot id"));
  }
  return found;
}

/** Every text of a view that a screen shows. */
function textsOf(view: FeederView): readonly string[] {
  const { summary, hopper, blindSpots, alarms, pause } = view;
  return [
    summary,
    hopper.text,
    hopper.portionText,
    ...blindSpots,
    ...(pause.order?.problem == null ? [] : [pause.order.problem]),
    `${view.missingEvents} events never arrived`,
    // How the evidence is written is the client's part: it is checked on its screens.
    ...alarms.flatMap(({ title, reason, advice }) => [title, reason, advice]),
  ];
}

export function checkTexts(about: string, texts: readonly string[], settingsSaid = true): Violation[] {
  return texts.flatMap((text) => [
    ...textFlaws(text).map((flaw) => violation("text", about, text.slice(0, 400), `holds ${flaw}`)),
    ...(!settingsSaid && claimsKeeperSaid(text)
      ? [violation("attributed", about, text.slice(0, 400), "nobody entered anything about it")]
      : []),
  ]);
}

/** A whole screen about one feeder, as the client wrote it. */
export function checkFeederScreen(
  text: string,
  view: FeederView,
  known: FeederKnowledge,
  terms: FeederTerms,
  now: number,
): Violation[] {
  const about = `screen of ${view.name}`;
  const found = [
    ...checkTexts(about, [text], terms.settingsSaid),
    ...checkAllClear(about, text, view, known, terms, now),
  ];
  const order: OrderView | null = view.pause.order;
  const wantsPause = order?.kind === "pause" && !(order.until !== null && Date.parse(order.until) <= now);
  if (wantsPause && claimsConfirmed(text) && claimsFeeding(text)) {
    found.push(
      violation("confirmed", about, excerpt(text, confirmedClaimAt(text)), "confirmed stands beside feeding as usual"),
    );
  }
  if (wantsPause && claimsConfirmed(text) && known.feeding(now) !== "paused") {
    found.push(
      violation("confirmed", about, excerpt(text, confirmedClaimAt(text)), `newest known: ${known.feeding(now)}`),
    );
  }
  return found;
}

const excerpt = (text: string, index: number | null): string => {
  const at = Math.max(0, (index ?? 0) - 150);
  return text.slice(at, at + 300);
};
