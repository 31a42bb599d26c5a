import type { Readings } from "../facts.ts";
import type { Fault } from "../faults.ts";
import { hours, type Instant } from "../instant.ts";
import type { Celsius } from "../units.ts";
import { degrees } from "./degrees.ts";
import { type FreezeThaw, feltFreezeThaw, unfrozen } from "./freezeThaw.ts";
import { frostPoint, overWater, saturation, settling, vapourPressure } from "./psychrometrics.ts";

/** Frost that grows inside, and water that was there before the cold: both lock the tray. */
export interface Frost {
  /** When the surface was last seen wet with dew; null once it has had time to dry. */
  readonly wetAt: Instant | null;
  readonly drySince: Instant | null; // null while the air doesn't dry it
  readonly found: FoundFrost | null;
  readonly freezeThaw: FreezeThaw;
}

export type FoundFrost = {
  readonly at: Instant; // of the newest readings that show it
  readonly surface: Celsius;
  readonly where: "lid" | "inside";
} & ({ readonly kind: "grows"; readonly frostPoint: Celsius } | { readonly kind: "wetFroze"; readonly wetAt: Instant });

export const dry = (): Frost => ({ wetAt: null, drySince: null, found: null, freezeThaw: unfrozen() });

export function feltFrost(frost: Frost, readings: Readings, at: Instant): Frost {
  const coldest = coldestSurface(readings);
  if (coldest === null) return frost;
  const { surface } = coldest;
  const damp = {
    ...dampness(frost, readings, surface, at),
    freezeThaw: feltFreezeThaw(frost.freezeThaw, surface, thawAbove),
  };
  if (surface > thawAbove) return { ...damp, found: null };

  if (damp.wetAt !== null && surface < freezeBelow) {
    return { ...damp, found: { kind: "wetFroze", wetAt: damp.wetAt, at, ...coldest } };
  }
  const point = vapourFrostPoint(readings);
  if (frost.found === null) {
    const grows = point !== null && surface < freezeBelow && point - surface >= growsFrom;
    return grows ? { ...damp, found: { kind: "grows", frostPoint: point, at, ...coldest } } : damp;
  }
  if (frost.found.kind === "wetFroze") return { ...damp, found: { ...frost.found, at, ...coldest } }; // ice stays until it thaws
  if (point === null) return damp; // said nothing of humidity this time
  const still = point - surface >= growsUntil;
  return { ...damp, found: still ? { kind: "grows", frostPoint: point, at, ...coldest } : null };
}

export function frostInside(found: FoundFrost, { cycles }: FreezeThaw): Fault {
  const where = found.where === "lid" ? "lid" : "inside of the box";
  const surface = { what: `temperature of the ${where}`, value: degrees(found.surface), at: found.at };
  const thaws = { what: "times it froze and thawed so far", value: String(cycles), at: null };
  switch (found.kind) {
    case "grows":
      return {
        kind: "frostInside",
        reason:
          `The ${where} is at ${degrees(found.surface)}, and the air is damp enough to frost ` +
          `anything below ${degrees(found.frostPoint)}.`,
        evidence: [surface, { what: "frost point of the air", value: degrees(found.frostPoint), at: found.at }, thaws],
        sure: null,
      };
    case "wetFroze":
      return {
        kind: "frostInside",
        reason: `The ${where} was wet with dew and is now at ${degrees(found.surface)}: expect ice on tray and slot.`,
        evidence: [surface, { what: "last seen wet", value: "dew on it", at: found.wetAt }, thaws],
        sure: null,
      };
  }
}

function coldestSurface({ lid, inside }: Readings): { surface: Celsius; where: "lid" | "inside" } | null {
  if (lid !== null && (inside === null || lid <= inside)) return { surface: lid, where: "lid" };
  return inside === null ? null : { surface: inside, where: "inside" };
}

/** Humidity is measured beside the box's own thermometer; where it has none, in the air. hPa. */
function vapourOf({ humidity, inside, air }: Readings): number | null {
  const besideIt = inside ?? air;
  return humidity === null || besideIt === null ? null : vapourPressure(besideIt, humidity);
}

/** Air that would sooner wet than frost is taken at 0 °C, where both begin. */
function vapourFrostPoint(readings: Readings): Celsius | null {
  const vapour = vapourOf(readings);
  return vapour === null ? null : (frostPoint(vapour) ?? (0 as Celsius));
}

/** Remembers dew until the air has had time to dry it off, or a day has passed. */
function dampness(frost: Frost, readings: Readings, surface: Celsius, at: Instant): Frost {
  const vapour = vapourOf(readings);
  if (vapour !== null && surface >= 0 && settling(vapour, surface) === "dew") {
    return { ...frost, wetAt: at, drySince: null };
  }
  if (frost.wetAt === null) return frost;
  if (at - frost.wetAt > wetFor) return { ...frost, wetAt: null, drySince: null };
  // Ice hardly dries: only a thawed surface in air well below saturation does.
  const drying = vapour !== null && surface > 0 && vapour < dryingShare * saturation(overWater, surface);
  if (!drying) return { ...frost, drySince: null };
  const drySince = frost.drySince ?? at;
  return at - drySince >= driesWithin ? { ...frost, wetAt: null, drySince: null } : { ...frost, drySince };
}

// Deadbands wider than a cheap thermometer's noise (± 0.5 °C) and what ± 3 % humidity moves the frost point (0.4 °C).
const freezeBelow = -0.5;
const thawAbove = 0.5;
const growsFrom = 1;
const growsUntil = 0.3;
/** Common practice, no source: dew is gone after two hours in air at less than 80 % over the surface. */
const dryingShare = 0.8;
const driesWithin = hours(2);
const wetFor = hours(24);
