import { locale } from "#text/language.ts";

/** The only place where dates and numbers become text: by the language's locale, 24-hour clock. */

const dateFormats = new Map<string, Intl.DateTimeFormat>();

/** Formats are costly to make, so each is made once for a time zone. `name` stands for the options. */
export function dateFormat(zone: string, name: string, options: Intl.DateTimeFormatOptions): Intl.DateTimeFormat {
  const key = `${name} ${zone}`;
  const known = dateFormats.get(key) ?? new Intl.DateTimeFormat(locale, { ...options, timeZone: zone });
  dateFormats.set(key, known);
  return known;
}

/** "1.25", "−3": at most so many decimals, with a real minus sign and nothing between the thousands. */
export const numberText = (value: number, maximumFractionDigits = 0, minimumFractionDigits = 0) =>
  formatNumber(value, { maximumFractionDigits, minimumFractionDigits });

/** "0.3", "12": as exact as an estimate is. */
export const roughNumberText = (value: number) => formatNumber(value, { maximumSignificantDigits: 2 });

const formatNumber = (value: number, options: Intl.NumberFormatOptions) =>
  new Intl.NumberFormat(locale, { useGrouping: false, ...options }).format(value).replace("-", "−");

/** "Ada", "Ada and Bo", "Ada, Bo and Cilla" */
export const listText = (names: readonly string[]) => new Intl.ListFormat(locale).format(names);

/** "4 minutes ago", "1 day ago" */
/** "2 min ago" */
export const shortTimeAgoText = (count: number, unit: "minute" | "hour" | "day") =>
  new Intl.RelativeTimeFormat(locale, { style: "short" }).format(-count, unit);
export const timeAgoText = (count: number, unit: "minute" | "hour" | "day") =>
  new Intl.RelativeTimeFormat(locale).format(-count, unit);
