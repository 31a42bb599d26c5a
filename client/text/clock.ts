/** How moments are said to the keeper. Wire times are ISO 8601 in UTC; they are told in the yard's own zone. */

const minuteMs = 60_000;
const dayMs = 86_400_000;

const formats = new Map<string, Intl.DateTimeFormat>();
function format(zone: string, name: string, options: Intl.DateTimeFormatOptions): Intl.DateTimeFormat {
  const key = `${name} ${zone}`;
  const known = formats.get(key);
  if (known !== undefined) return known;
  const made = new Intl.DateTimeFormat("en-GB", { ...options, timeZone: zone });
  formats.set(key, made);
  return made;
}

/** "14:20" */
export const timeText = (at: string, zone: string) =>
  format(zone, "time", { hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(new Date(at));

/** The local calendar date, "2026-11-25". */
export function localDate(now: number, zone: string): string {
  const parts = format(zone, "date", { year: "numeric", month: "2-digit", day: "2-digit" }).formatToParts(now);
  const part = (type: string) => parts.find((each) => each.type === type)?.value ?? "";
  return `${part("year")}-${part("month")}-${part("day")}`;
}

/** Calendar arithmetic on a bare date: no zone, so no hour is ever lost to a clock change. */
export const shiftDate = (date: string, days: number) =>
  new Date(Date.parse(`${date}T00:00:00Z`) + days * dayMs).toISOString().slice(0, 10);

/** "today", "yesterday", "tomorrow", "Thursday", "Thu 12 Nov", and in another year "Thu 12 Nov 2025" */
export function dayText(date: string, today: string): string {
  const distance = Math.round((Date.parse(date) - Date.parse(today)) / dayMs);
  if (distance === 0) return "today";
  if (distance === -1) return "yesterday";
  if (distance === 1) return "tomorrow";
  const noon = new Date(`${date}T12:00:00Z`);
  if (distance > 1 && distance < 7) return format("UTC", "weekday", { weekday: "long" }).format(noon);
  const day = format("UTC", "day", { weekday: "short", day: "numeric", month: "short" }).format(noon).replace(",", "");
  return date.slice(0, 4) === today.slice(0, 4) ? day : `${day} ${date.slice(0, 4)}`; // else it is read as one of this year
}

/** "14:20" today, otherwise "yesterday at 14:20", "Thursday at 09:00", "Thu 12 Nov at 09:00". */
export function momentText(at: string, now: number, zone: string): string {
  const day = dayText(localDate(Date.parse(at), zone), localDate(now, zone));
  return day === "today" ? timeText(at, zone) : `${day} at ${timeText(at, zone)}`;
}

/**
 * A forecast's moment, no finer than a forecast is: "about 14:30" today, then "tomorrow morning", "Friday evening", "Thu 3 Dec".
 * A moment that has passed is no forecast, and is said to the minute.
 */
export function approximateMomentText(at: string, now: number, zone: string): string {
  const then = Date.parse(at);
  if (then <= now) return momentText(at, now, zone);
  const date = localDate(then, zone);
  const today = localDate(now, zone);
  const halfHour = new Date(Math.round(then / (30 * minuteMs)) * 30 * minuteMs).toISOString();
  if (date === today) return `about ${timeText(halfHour, zone)}`;
  const day = dayText(date, today);
  if (Date.parse(date) - Date.parse(today) >= 7 * dayMs) return day;
  const hour = Number(timeText(at, zone).slice(0, 2));
  return `${day} ${hour < 5 ? "before dawn" : hour < 12 ? "morning" : hour < 17 ? "afternoon" : "evening"}`;
}

/** "just now", "4 minutes ago", "3 hours ago", "2 days ago". A moment in the future (clocks differ) counts as now. */
export function agoText(at: string, now: number): string {
  const ago = Math.max(0, now - Date.parse(at));
  if (ago < minuteMs) return "just now";
  if (ago < 90 * minuteMs) return countAgo(Math.round(ago / minuteMs), "minute");
  if (ago < 36 * 60 * minuteMs) return countAgo(Math.round(ago / (60 * minuteMs)), "hour");
  return countAgo(Math.round(ago / dayMs), "day");
}
const countAgo = (count: number, what: string) => `${count} ${what}${count === 1 ? "" : "s"} ago`;

/** The instant at which a wall clock in the zone shows this date and time; where it shows it twice, the earlier. */
export function zonedInstant(date: string, time: string, zone: string): string {
  const wall = Date.parse(`${date}T${time}:00Z`);
  // Around a clock change the zone's offset differs on either side of it: try the offset of the day before, and of the day after.
  const candidates = [wall - offsetMs(wall - dayMs, zone), wall - offsetMs(wall + dayMs, zone)];
  const exact = candidates.filter((at) => at + offsetMs(at, zone) === wall);
  return new Date(Math.min(...(exact.length > 0 ? exact : candidates))).toISOString();
}

function offsetMs(at: number, zone: string): number {
  const parts = format(zone, "full", {
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
