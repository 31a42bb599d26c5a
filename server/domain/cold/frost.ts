import { days, hours, type Instant, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import type { Celsius } from "../units.ts";
import { type FreezeThaw, initialFreezeThaw, updateFreezeThaw } from "./freezeThaw.ts";
import { type AssumedLid, assumeLid, type NightTemperatures, updateNight } from "./nightCooling.ts";
import { frostPoint, overIce, saturationPressure, vapourPressure } from "./psychrometrics.ts";
import { type DampInput, initialWetness, recordThaw, updateWetness, type Wet, type Wetness } from "./wetness.ts";

/** Thin frost that grows on the box, and water from before the cold, which locks the tray as ice. */
export interface Frost {
  readonly wetness: Wetness;
  readonly night: NightTemperatures | null;
  /** The cold spell in which frost or ice was last estimated, not measured; null when the next may be. */
  readonly coldSpell: {
    readonly foundAt: Instant;
    readonly warmSince: Instant | null;
    readonly hadIce: boolean; // false where frost alone was estimated: ice in the same spell is still news
  } | null;
  readonly found: FrostFinding | null;
  readonly freezeThaw: FreezeThaw;
}

export type FrostFinding = {
  readonly at: Instant; // of the newest readings that show it
  readonly surfaceTemperature: Celsius;
  readonly place: "lid" | "inside";
  readonly isEstimated: boolean; // from the air, without a thermometer on the lid
} & (
  | { readonly kind: "growing"; readonly frostPoint: Celsius }
  | { readonly kind: "remaining"; readonly dryingSince: Instant | null } // frost that grew and has neither thawed nor dried off
  | { readonly kind: "frozenWater"; readonly wetAt: Instant; readonly wetCause: Wet["cause"] }
);

type MeasuredSurface = Pick<FrostFinding, "surfaceTemperature" | "place" | "isEstimated">;

/** On a practice feeder frost follows the chosen fault: who ends it sees it end. */
type FrostSettings = Pick<FeederSettings, "place" | "practice">;

export const initialFrost = (): Frost => ({
  wetness: initialWetness(),
  night: null,
  coldSpell: null,
  found: null,
  freezeThaw: initialFreezeThaw(),
});

export function updateFrost(frost: Frost, readings: Readings, at: Instant, settings: FrostSettings): Frost {
  const after = updateFrostByReadings(frost, readings, at, settings);
  if (!settings.practice) return after;
  const { found, wetness } = after;
  if (found?.kind === "remaining" || (found?.kind === "frozenWater" && !isWaterSettling(readings))) {
    return { ...after, found: null, wetness: initialWetness() };
  }
  return wetness.wet?.cause === "thaw" ? { ...after, wetness: initialWetness() } : after;
}

/** The chosen cold night keeps its air damp; healthy practice weather never wets or frosts anything. */
function isWaterSettling(readings: Readings): boolean {
  const surface = coldestMeasuredSurface(readings);
  const vapour = measuredVapourPressure(readings);
  return surface === null || vapour === null || frostPointOf(vapour) - surface.surfaceTemperature >= growthMarginMin;
}

function updateFrostByReadings(frost: Frost, readings: Readings, at: Instant, settings: FrostSettings): Frost {
  const { place, practice } = settings;
  const night = updateNight(frost.night, readings, at, place);
  const assumed = assumeLid(night, readings, at, place);
  const measured = coldestMeasuredSurface(readings);
  if (measured === null && assumed === null) return night === frost.night ? frost : { ...frost, night };

  const vapour = measuredVapourPressure(readings);
  const assumedLid =
    measured === null || (assumed !== null && assumed.surfaceTemperature < measured.surfaceTemperature)
      ? assumed
      : null;
  const input = dampInput(vapour, measured, assumedLid, practice ? noTime : dewWettingTime);
  const wetness = updateWetness(frost.wetness, input, readings, at);
  const updated: Frost = {
    wetness,
    night,
    coldSpell: updateColdSpell(frost.coldSpell, readings, at),
    found: frost.found,
    freezeThaw:
      measured === null ? frost.freezeThaw : updateFreezeThaw(frost.freezeThaw, measured.surfaceTemperature, thawAbove),
  };
  return updateFrostFinding(updated, measured, assumed, vapour, at);
}

/** A finding by a thermometer replaces one that is estimated from the air. */
function updateFrostFinding(
  frost: Frost,
  measured: MeasuredSurface | null,
  assumed: AssumedLid | null,
  vapour: number | null,
  at: Instant,
): Frost {
  const estimated = frost.found?.isEstimated ? frost.found : null;
  const withoutEstimate = estimated === null ? frost : { ...frost, found: null };
  const afterMeasured =
    measured === null ? withoutEstimate : updateMeasuredFrost(withoutEstimate, measured, vapour, at);
  if (assumed === null || afterMeasured.found !== null) return afterMeasured;
  return updateAssumedFrost({ ...afterMeasured, found: estimated }, assumed, vapour, at);
}

function updateMeasuredFrost(frost: Frost, surface: MeasuredSurface, vapour: number | null, at: Instant): Frost {
  const { surfaceTemperature } = surface;
  if (surfaceTemperature > thawAbove) return updateByThaw(frost, at);
  const { found } = frost;
  const { wet } = frost.wetness;
  // Where the water is only estimated, the rules of the estimate decide.
  if (wet !== null && !wet.isEstimated && surfaceTemperature < freezeBelow)
    return { ...frost, found: frozenWaterFinding(wet, surface, at) };
  if (found?.kind === "frozenWater") return { ...frost, found: { ...found, at, ...surface } }; // ice stays until it thaws
  if (vapour === null) return frost; // no humidity in this report
  if (isFrostGrowing(found, surfaceTemperature, vapour))
    return { ...frost, found: { kind: "growing", frostPoint: frostPointOf(vapour), at, ...surface } };
  return found === null ? frost : { ...frost, found: remainingFrost(found, surface, vapour, at) };
}

function isFrostGrowing(found: FrostFinding | null, surfaceTemperature: Celsius, vapour: number): boolean {
  if (found === null && surfaceTemperature >= freezeBelow) return false;
  const margin = found?.kind === "growing" ? growthMarginMin : growthMargin;
  return frostPointOf(vapour) - surfaceTemperature >= margin;
}

/** Null once the frost has had time to dry off. */
function remainingFrost(
  found: FrostFinding,
  surface: MeasuredSurface,
  vapour: number,
  at: Instant,
): FrostFinding | null {
  const isDrying = vapour < dryingShare * saturationPressure(overIce, surface.surfaceTemperature);
  const dryingSince = isDrying ? ((found.kind === "remaining" ? found.dryingSince : null) ?? at) : null;
  if (dryingSince !== null && at - dryingSince >= dryingTime) return null;
  return { kind: "remaining", dryingSince, at, ...surface };
}

/**
 * On a lid without a thermometer. An estimate takes more margin, and raises a fault once in a cold spell, for frost and for ice
 * each: in a damp winter every clear night is like the last, and a keeper knows it after the first.
 */
function updateAssumedFrost(frost: Frost, lid: AssumedLid, vapour: number | null, at: Instant): Frost {
  const { surfaceTemperature } = lid;
  if (surfaceTemperature > thawAbove) return updateByThaw(frost, at);
  const surface: MeasuredSurface = { surfaceTemperature, place: "lid", isEstimated: true };
  const { found, coldSpell, wetness } = frost;
  const isFreezing = surfaceTemperature < freezeBelow;
  const isIceFound = found?.kind === "frozenWater" || hadIce(coldSpell);
  if (wetness.wet !== null && isFreezing && !isIceFound) {
    return {
      ...frost,
      found: frozenWaterFinding(wetness.wet, surface, at),
      coldSpell: { foundAt: at, warmSince: null, hadIce: true },
    };
  }
  if (found !== null) {
    const updated = { ...found, at, ...surface };
    return { ...frost, found: updated.kind === "growing" ? updatedGrowth(updated, frost.night, vapour) : updated };
  }
  return coldSpell === null && isFreezing ? updateAssumedGrowth(frost, lid, surface, vapour, at) : frost;
}

type Growth = Extract<FrostFinding, { kind: "growing" }>;

/** Frost is estimated from a clear night; after sunrise, under cloud or in drier air it is no longer shown. */
function updatedGrowth(found: Growth, night: Frost["night"], vapour: number | null): Growth | null {
  const frostPointNow = vapour === null ? found.frostPoint : frostPointOf(vapour);
  return night === null || found.surfaceTemperature > frostPointNow ? null : { ...found, frostPoint: frostPointNow };
}

const hadIce = (coldSpell: Frost["coldSpell"]): boolean => coldSpell?.hadIce ?? false;

function updateAssumedGrowth(
  frost: Frost,
  { isUnderClearSky }: AssumedLid,
  surface: MeasuredSurface,
  vapour: number | null,
  at: Instant,
): Frost {
  if (vapour === null || !isUnderClearSky) return frost;
  const frostPointNow = frostPointOf(vapour);
  if (frostPointNow - surface.surfaceTemperature < growthMargin + estimateMargin) return frost;
  return {
    ...frost,
    found: { kind: "growing", frostPoint: frostPointNow, at, ...surface },
    coldSpell: { foundAt: at, warmSince: null, hadIce: false },
  };
}

const frozenWaterFinding = (
  { at: wetAt, cause, isEstimated }: Wet,
  surface: MeasuredSurface,
  at: Instant,
): FrostFinding => ({
  ...surface,
  kind: "frozenWater",
  wetAt,
  wetCause: cause,
  at,
  isEstimated: surface.isEstimated || isEstimated,
});

/**
 * Ice that thaws is water, and locks the tray again if nothing dries it before the next cold. The thin frost of one night leaves
 * too little water for that. Common practice, no source.
 */
function updateByThaw(frost: Frost, at: Instant): Frost {
  const { found, wetness } = frost;
  if (found === null) return frost;
  return {
    ...frost,
    found: null,
    wetness: found.kind === "frozenWater" ? recordThaw(wetness, at, found.isEstimated) : wetness,
  };
}

/** Over after a day well above freezing, though not at once, or after four weeks, when it is worth a new fault. */
function updateColdSpell(coldSpell: Frost["coldSpell"], { air, inside }: Readings, at: Instant): Frost["coldSpell"] {
  const outside = air ?? inside;
  if (coldSpell === null || at - coldSpell.foundAt >= spellMax) return null;
  if (outside === null) return coldSpell;
  if (outside <= warmSpellCelsius) return { ...coldSpell, warmSince: null };
  if (coldSpell.warmSince === null) return { ...coldSpell, warmSince: at };
  return at - coldSpell.warmSince >= warmSpellMin && at - coldSpell.foundAt >= spellMin ? null : coldSpell;
}

function dampInput(
  vapour: number | null,
  measured: MeasuredSurface | null,
  assumedLid: AssumedLid | null,
  wettingTime: Span,
): DampInput {
  const surfaceTemperature = assumedLid?.surfaceTemperature ?? measured?.surfaceTemperature;
  if (surfaceTemperature === undefined) throw new Error("expected a surface, measured or assumed");
  // An estimated lid gathers dew only under a clear sky; at the air's own temperature it would take fog, which is another cause.
  if (assumedLid !== null) {
    const { isUnderClearSky } = assumedLid;
    return {
      vapourPressure: vapour,
      surfaceTemperature,
      isEstimated: isUnderClearSky,
      dewMargin: 0.5,
      canDewForm: isUnderClearSky,
      dewWettingTime: wettingTime,
    };
  }
  return {
    vapourPressure: vapour,
    surfaceTemperature,
    isEstimated: false,
    dewMargin: 0,
    canDewForm: true,
    dewWettingTime: wettingTime,
  };
}

function coldestMeasuredSurface({ lid: assumedLid, inside }: Readings): MeasuredSurface | null {
  if (assumedLid !== null && (inside === null || assumedLid <= inside))
    return { surfaceTemperature: assumedLid, place: "lid", isEstimated: false };
  return inside === null ? null : { surfaceTemperature: inside, place: "inside", isEstimated: false };
}

/** Humidity is measured beside the box's own thermometer; where it has none, in the air. hPa. */
function measuredVapourPressure({ humidity, inside, air }: Readings): number | null {
  const temperature = inside ?? air;
  return humidity === null || temperature === null ? null : vapourPressure(temperature, humidity);
}

/** For air that causes dew before frost, 0 °C, where both begin. */
const frostPointOf = (vapour: number): Celsius => frostPoint(vapour) ?? (0 as Celsius);

// Deadbands wider than a cheap thermometer's noise (± 0.5 °C) and what ± 3 % humidity moves the frost point (0.4 °C).
export const freezeBelow = -0.5;
export const thawAbove = 0.5;
const growthMargin = 1;
const growthMarginMin = 0.3;
const estimateMargin = 0.5;
/** Frost goes slowly into dry air: some tenths of a millimetre in a quarter of a day. Common practice, no source. */
const dryingShare = 0.8;
const dryingTime = hours(6);
/**
 * A clear night takes at most some 80 W/m² from a lid, and vapour gives up 2.5 MJ/kg: never more than a tenth of a millimetre of dew
 * an hour, and near freezing about a tenth of that (from memory). Less than an hour of it locks nothing. Common practice, no source.
 */
const dewWettingTime = hours(1);
/** On a practice feeder an evening passes in a quarter of a minute. */
const noTime = hours(0);
// So that estimates alone cause less than one notification in two weeks, also in a winter about zero with many thaws (measured
// on the simulated winters of the tests). Our choice.
const spellMin = days(10);
const spellMax = days(28);
const warmSpellCelsius = 2;
const warmSpellMin = hours(24);
