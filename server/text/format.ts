import { texts } from "./index.ts";
import { locale } from "./language.ts";

/**
 * The one place where dates, numbers and units become text: by the language's locale, hours from 00 to 23. Formats are costly to
 * make, so each is made once.
 */

const numberFormats = new Map<string, Intl.NumberFormat>();

/** "1.25", "−3", "12000": at most so many decimals, at least so many, with a real minus sign. */
export function numberText(value: number, decimalsMax = 0, decimalsMin = 0): string {
  const key = `${decimalsMax} ${decimalsMin}`;
  const format =
    numberFormats.get(key) ??
    new Intl.NumberFormat(locale, {
      useGrouping: false,
      maximumFractionDigits: decimalsMax,
      minimumFractionDigits: decimalsMin,
    });
  numberFormats.set(key, format);
  return format.format(value + 0).replace("-", "−"); // -0 is 0 for people
}

const twoFigures = new Intl.NumberFormat(locale, { useGrouping: false, maximumSignificantDigits: 2 });
/** "0.35", "1.5", "12": as exact as an estimate is. */
const roughNumberText = (value: number): string => twoFigures.format(value).replace("-", "−");

/** "Food low" */
export const capitalize = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);
export const uncapitalize = (text: string): string => text.charAt(0).toLowerCase() + text.slice(1);

// --- units ---------------------------------------------------------------------------------------------------------

/** Rounded to the accuracy of a cheap thermometer. Near freezing half degrees matter. "−0.5 °C" */
export function temperatureText(celsius: number): string {
  const step = Math.abs(celsius) < 3 ? 0.5 : 1;
  return texts.units.celsius(numberText(Math.round(celsius / step) * step, 1));
}

/** Two figures are all that a food level is good for. "840 g", "1.2 kg", "6 g". */
export function gramsText(mass: number): string {
  if (mass >= 1_000) return texts.units.kilograms(numberText(mass / 1_000, 1));
  const step = mass >= 100 ? 10 : mass >= 20 ? 5 : 1;
  return texts.units.grams(numberText(Math.round(mass / step) * step));
}

/**
 * An interval for the keeper, never narrower than it is: rounded outwards.
 * "1.98 kg to 2.02 kg", "110 g to 560 g".
 */
export function gramsRangeText(low: number, high: number): string {
  const step = high >= 10_000 ? 100 : high >= 100 ? 10 : 1;
  return texts.units.range(exactGrams(Math.floor(low / step) * step), exactGrams(Math.ceil(high / step) * step));
}

const exactGrams = (mass: number): string =>
  mass >= 1_000 ? texts.units.kilograms(numberText(mass / 1_000, 3)) : texts.units.grams(numberText(mass));

/** Two figures are all that a portion is good for: "0.35 g", "1.5 g", "12 g". */
export const portionGramsText = (mass: number): string => texts.units.grams(roughNumberText(mass));

/** "12.60 V" */
export const voltageText = (volts: number, decimals = 2): string =>
  texts.units.volts(numberText(volts, decimals, decimals));

/** "410 mA" */
export const currentText = (milliamps: number): string => texts.units.milliamps(numberText(milliamps));

/** Of a share from 0 to 1: "85 %". */
export const percentText = (share: number): string => texts.units.percent(numberText(100 * share));

// --- time ----------------------------------------------------------------------------------------------------------

type TimeUnit = "second" | "minute" | "hour" | "day";

const unitFormats = new Map<TimeUnit, Intl.NumberFormat>();

/** "1 minute", "40 seconds" */
export function timeUnitText(whole: number, unit: TimeUnit): string {
  const format =
    unitFormats.get(unit) ??
    new Intl.NumberFormat(locale, { useGrouping: false, style: "unit", unit, unitDisplay: "long" });
  unitFormats.set(unit, format);
  return format.format(whole);
}

/** A span as text: "40 seconds", "12 minutes", "3 hours", "2 days". */
export function spanText(milliseconds: number): string {
  const { whole, unit } = wholeUnits(milliseconds);
  return timeUnitText(whole, unit);
}

/** An interval as text: "every minute", "every 15 minutes". */
export function intervalText(milliseconds: number): string {
  const { whole, unit } = wholeUnits(milliseconds);
  return whole === 1 ? texts.time.everyUnit[unit] : texts.time.every(timeUnitText(whole, unit));
}

function wholeUnits(milliseconds: number): { readonly whole: number; readonly unit: TimeUnit } {
  const seconds = milliseconds / 1_000;
  if (seconds < 55) return { whole: Math.max(1, Math.round(seconds)), unit: "second" };
  if (seconds < 90 * 60) return { whole: Math.round(seconds / 60), unit: "minute" };
  if (seconds < 36 * 3_600) return { whole: Math.round(seconds / 3_600), unit: "hour" };
  return { whole: Math.round(seconds / 86_400), unit: "day" };
}

const dateFormat = (options: Intl.DateTimeFormatOptions) =>
  new Intl.DateTimeFormat(locale, { ...options, timeZone: "UTC" });
const dateFormats = {
  weekday: dateFormat({ weekday: "long" }),
  day: dateFormat({ day: "numeric", month: "long" }),
  dayOfYear: dateFormat({ day: "numeric", month: "long", year: "numeric" }),
  weekdayAndDay: dateFormat({ weekday: "long", day: "numeric", month: "long" }),
  weekdayAndDayOfYear: dateFormat({ weekday: "long", day: "numeric", month: "long", year: "numeric" }),
} as const;

/**
 * A calendar date as text: "Thursday", "3 December", "3 January 2027", "Thursday 3 December", "Saturday 17 April 2027".
 * @param date `YYYY-MM-DD`
 */
export const formatDate = (date: string, form: keyof typeof dateFormats): string =>
  dateFormats[form].format(Date.parse(`${date}T00:00:00Z`)).replace(",", "");
