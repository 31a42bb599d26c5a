import { Temporal } from "temporal-polyfill";
import { memoize } from "./memoize.ts";

/**
 * Whether all that reads a zone can use it: Temporal on the server and `Intl` on a phone. Each refuses names that the other accepts
 * (Temporal: IST and other short names that mean several zones; `Intl` of older browsers: an offset such as +05:30).
 */
export const isUsableZone = memoize(256, String, (zone: string): boolean => isIntlZone(zone) && isTemporalZone(zone));

/** What `Intl` alone accepts: enough for a record from before zones were checked more closely. */
export function isIntlZone(zone: string): boolean {
  try {
    new Intl.DateTimeFormat("en", { timeZone: zone });
    return true;
  } catch {
    return false;
  }
}

/** Only names: as an offset or a whole date Temporal accepts what a phone may not. */
function isTemporalZone(zone: string): boolean {
  if (!/^[A-Za-z]/.test(zone)) return false;
  try {
    return Number.isFinite(Temporal.Instant.fromEpochMilliseconds(0).toZonedDateTimeISO(zone).offsetNanoseconds);
  } catch {
    return false;
  }
}

const fallbackZone = "UTC";

/** The zone that is calculated with: a stored one that can't be used must not stop a report, so UTC stands for it. */
export const zoneOrFallback = (zone: string): string => (isUsableZone(zone) ? zone : fallbackZone);
