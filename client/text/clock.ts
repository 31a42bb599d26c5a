import * as text from "#text/clock.ts";
import { dateFormat, shortTimeAgoText, timeAgoText } from "./format.ts";

/** Moments as text. The server's times are ISO 8601 in UTC; they are shown in the yard's time zone. */

const minuteMs = 60_000;
const dayMs = 86_400_000;

/** "14:20" */
export const timeText = (at: string, zone: string) =>
  dateFormat(zone, "time", { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(new Date(at));

/** The local calendar date, "2026-11-25". */
export function localDate(now: number, zone: string): string {
  const parts = dateFormat(zone, "date", { year: "numeric", month: "2-digit", day: "2-digit" }).formatToParts(now);
  const part = (type: string) => parts.find((each) => each.type === type)?.value ?? "";
  return `${part("year")}-${part("month")}-${part("day")}`;
}

/** Calendar arithmetic on a bare date: no zone, so no hour is ever lost to a clock change. */
export const shiftDate = (date: string, days: number) =>
  new Date(Date.parse(`${date}T00:00:00Z`) + days * dayMs).toISOString().slice(0, 10);

/** "today", "yesterday", "tomorrow", "Thursday", "Thu 12 Nov", and in another year "Thu 12 Nov 2025" */
export function dayText(date: string, today: string): string {
  const distance = Math.round((Date.parse(date) - Date.parse(today)) / dayMs);
  if (distance === 0) return text.todayText;
  if (distance === -1) return text.yesterdayText;
  if (distance === 1) return text.tomorrowText;
  const noon = new Date(`${date}T12:00:00Z`);
  if (distance > 1 && distance < 7) return dateFormat("UTC", "weekday", { weekday: "long" }).format(noon);
  const day = dateFormat("UTC", "day", { weekday: "short", day: "numeric", month: "short" })
    .format(noon)
    .replace(",", "");
  return date.slice(0, 4) === today.slice(0, 4) ? day : `${day} ${date.slice(0, 4)}`;
}

/** "today at 14:20", "yesterday at 14:20", "Thursday at 09:00", "Thu 12 Nov at 09:00". */
export const dayAndTimeText = (at: string, now: number, zone: string) =>
  text.dayAtTimeText(dayText(localDate(Date.parse(at), zone), localDate(now, zone)), timeText(at, zone));

/** The same, without the day where it is today: "14:20". */
export const momentText = (at: string, now: number, zone: string) =>
  localDate(Date.parse(at), zone) === localDate(now, zone) ? timeText(at, zone) : dayAndTimeText(at, now, zone);

/**
 * A forecast's moment, only as exact as a forecast is: "about 14:30" today, then "tomorrow morning", "Friday evening",
 * "Thu 3 Dec". A moment that has passed is no forecast, and is given to the minute.
 */
export function approximateMomentText(at: string, now: number, zone: string): string {
  const then = Date.parse(at);
  if (then <= now) return momentText(at, now, zone);
  const date = localDate(then, zone);
  const today = localDate(now, zone);
  const halfHour = new Date(Math.round(then / (30 * minuteMs)) * 30 * minuteMs).toISOString();
  if (date === today) return text.aboutTimeText(timeText(halfHour, zone));
  const day = dayText(date, today);
  if (Date.parse(date) - Date.parse(today) >= 7 * dayMs) return day;
  const hour = Number(timeText(at, zone).slice(0, 2));
  if (hour < 5) return text.beforeDawnText(day);
  if (hour < 12) return text.morningText(day);
  return hour < 17 ? text.afternoonText(day) : text.eveningText(day);
}

/** "just now", "4 minutes ago", "3 hours ago", "2 days ago". A moment in the future (clocks differ) counts as now. */
export const agoText = (at: string, now: number): string => agoBy(timeAgoText, at, now);

/** The same in fewer letters: "4 min ago". */
export const shortAgoText = (at: string, now: number): string => agoBy(shortTimeAgoText, at, now);

function agoBy(unitText: typeof timeAgoText, at: string, now: number): string {
  const ago = Math.max(0, now - Date.parse(at));
  if (ago < minuteMs) return text.justNowText;
  if (ago < 90 * minuteMs) return unitText(Math.round(ago / minuteMs), "minute");
  if (ago < 36 * 60 * minuteMs) return unitText(Math.round(ago / (60 * minuteMs)), "hour");
  return unitText(Math.round(ago / dayMs), "day");
}

/** The instant at which a wall clock in the zone shows this date and time; where it shows it twice, the earlier. */
export function zonedInstant(date: string, time: string, zone: string): string {
  const wall = Date.parse(`${date}T${time}:00Z`);
  // Around a clock change the zone's offset differs on either side of it: try the offset of the day before, and of the day after.
  const candidates = [wall - offsetMs(wall - dayMs, zone), wall - offsetMs(wall + dayMs, zone)];
  const exact = candidates.filter((at) => at + offsetMs(at, zone) === wall);
  return new Date(Math.min(...(exact.length > 0 ? exact : candidates))).toISOString();
}

function offsetMs(at: number, zone: string): number {
  const parts = dateFormat(zone, "full", {
    year: "numeric",
    month: "2-digit",
    day: "2-digit",
    hour: "2-digit",
    minute: "2-digit",
    second: "2-digit",
    hourCycle: "h23",
  }).formatToParts(at);
  const part = (type: string) => Number(parts.find((each) => each.type === type)?.value);
  const wall = Date.UTC(part("year"), part("month") - 1, part("day"), part("hour"), part("minute"), part("second"));
  return wall - Math.floor(at / 1000) * 1000;
}
