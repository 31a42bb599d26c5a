import * as text from "#text/homeRow.ts";
import type { AlarmView, FeederView } from "../../server/contract/api.ts";
import { highestPriority, isLatched, isOver, isSuppressed, sortAlarms } from "./alarm.ts";
import { shortAgoText } from "./clock.ts";
import { feederSentence, isKnownWell, isStale, type PageState } from "./feeder.ts";
import type { FeederOrderText } from "./yardOrder.ts";

/** One row of the first page: what is known of a feeder in a line, its marks, and the next thing to do. */

/** `unsure`: nothing is wrong as far as is known, and not all that "well" asks for is known. */
export type FeederNeed = "you" | "silent" | "unsure" | "waiting" | "paused" | "away" | "well";

const isStanding = (alarm: AlarmView) => !isSuppressed(alarm) && !isOver(alarm);
const isSilent = ({ alarms }: FeederView) =>
  alarms.some((alarm) => alarm.fault === "feederSilent" && isStanding(alarm));

/** What a feeder asks of its keeper, the most serious first. A page without a connection says more: see homeVerdict.ts. */
export function feederNeed(feeder: FeederView, order: FeederOrderText | null, now: number): FeederNeed {
  const { alarms, settings, lastReportAt } = feeder;
  const acts = alarms.some(
    (alarm) => isLatched(alarm) || (isStanding(alarm) && alarm.priority !== "note" && alarm.fault !== "feederSilent"),
  );
  if (acts || order?.needsAttention === true) return "you";
  if (isSilent(feeder)) return "silent";
  if ((settings.placement ?? "inGarden") !== "inGarden") return "away";
  if (lastReportAt === null) return "waiting";
  if (isKnownPaused(feeder, now)) return "paused";
  return isKnownWell(feeder, now) ? "well" : "unsure";
}

/** By what the feeder itself reported last, and its pause has not ended since. */
export function isKnownPaused({ pause: { status, order } }: FeederView, now: number): boolean {
  // A view that an older build stored has no status.
  if ((status as FeederView["pause"]["status"] | undefined)?.kind !== "paused") return false;
  return order?.kind !== "pause" || order.until === null || now < Date.parse(order.until);
}

export type Mark = "urgent" | "soon" | "silent" | "paused" | "onBench" | "putAway" | "shelved";

/** @param isGrouped its silence is shown above, with those of other feeders */
export function rowMarks(feeder: FeederView, now: number, isGrouped: boolean): readonly Mark[] {
  const { placement } = feeder.settings;
  const priority = isGrouped ? null : highestPriority(feeder);
  return [
    ...(isSilent(feeder) ? (["silent"] as const) : priority === null ? [] : [priority]),
    ...(isKnownPaused(feeder, now) ? (["paused"] as const) : []),
    ...(placement === "onBench" || placement === "putAway" ? [placement] : []),
    ...(shelvedCount(feeder) > 0 ? (["shelved"] as const) : []),
  ];
}

export const shelvedCount = ({ alarms }: FeederView) => alarms.filter(({ state }) => state === "shelved").length;

/** A feeder that is well shows its food, any other what is wrong, or what isn't known. */
export function rowLine(feeder: FeederView, page: PageState): string {
  const isWell = !isStale(page) && isKnownWell(feeder, page.now);
  return isWell ? foodDaysText(feeder, page.now) : feederSentence(feeder, page);
}

/** Null where the line says so itself, or nothing was ever heard. */
export function heardText(feeder: FeederView, page: PageState): string | null {
  const { lastReportAt } = feeder;
  return lastReportAt === null || isStale(page) || !isKnownWell(feeder, page.now)
    ? null
    : shortAgoText(lastReportAt, page.now);
}

const hourMs = 3_600_000;
const dayMs = 24 * hourMs;

/** For how long the food is enough, from the tenth to the ninetieth percentile of the forecast. Never longer than is known. */
export function foodDaysText({ hopper: { level, emptyForecast } }: Pick<FeederView, "hopper">, now: number): string {
  if (level === null || emptyForecast?.p10 == null) return text.foodUnknownText;
  const least = Date.parse(emptyForecast.p10) - now;
  if (least <= 0) return text.foodMayBeOutText;
  if (least < dayMs) return text.foodHoursText(Math.floor(least / hourMs));
  const from = Math.floor(least / dayMs);
  if (emptyForecast.p90 === null) return text.foodAtLeastText(from);
  const to = Math.max(from, Math.round((Date.parse(emptyForecast.p90) - now) / dayMs));
  return from === to ? text.foodAboutText(from) : text.foodRangeText(from, to);
}

export type NextAct =
  | { readonly kind: "refill" }
  | { readonly kind: "pause" }
  | { readonly kind: "acknowledge"; readonly alarm: AlarmView };

/** A feeder that reports, and of whose food nobody has said how much there is. */
const isFoodUnknown = ({ hopper, lastReportAt, settings }: FeederView) =>
  hopper.level === null && lastReportAt !== null && (settings.placement ?? "inGarden") === "inGarden";

/**
 * The one thing to do next from here; null where there is none, or it takes more than a tap.
 * @param pausing it is paused, or an order for it is on its way
 */
export function nextAct(feeder: FeederView, pausing: boolean): NextAct | null {
  const [alarm] = sortAlarms(feeder.alarms.filter((each) => !isSuppressed(each) && each.priority !== "note"));
  if (alarm === undefined) return isFoodUnknown(feeder) ? { kind: "refill" } : null;
  if (isStanding(alarm) && alarm.act === "refill") return { kind: "refill" };
  if (isStanding(alarm) && alarm.act === "pause" && !pausing) return { kind: "pause" };
  const isOpen =
    alarm.state === "unacknowledged" ||
    alarm.state === "latchedUnacknowledged" ||
    alarm.state === "returnedUnacknowledged";
  return isOpen ? { kind: "acknowledge", alarm } : null;
}
