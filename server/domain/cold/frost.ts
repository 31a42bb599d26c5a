import { days, hours, type Instant, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import type { Celsius } from "../units.ts";
import { type FreezeThaw, initialFreezeThaw, updateFreezeThaw } from "./freezeThaw.ts";
import { type AssumedLid, assumeLid, type NightTemperatures, updateNight } from "./nightCooling.ts";
import { frostPoint, overIce, saturationPressure, vapourPressure } from "./psychrometrics.ts";
import { type DampInput, initialWetness, recordThaw, updateWetness, type Wet, type Wetness } from "./wetness.ts";

/** Frost that grows inside, thin, and water that was there before the cold, which locks the tray. */
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
  readonly isEstimated: boolean; // by the air, for want of a thermometer on the lid
} & (
  | { readonly kind: "growing"; readonly frostPoint: Celsius }
  | { readonly kind: "remaining"; readonly dryingSince: Instant | null } // frost that grew and has neither thawed nor dried off
  | { readonly kind: "frozenWater"; readonly wetAt: Instant; readonly wetCause: Wet["cause"] }
);

type MeasuredSurface = Pick<FrostFinding, "surfaceTemperature" | "place" | "isEstimated">;

/** In practice frost goes with the fault that was chosen: a newcomer who heals it shall see it healed. */
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
  const on = coldestMeasuredSurface(readings);
  const vapour = measuredVapourPressure(readings);
  return on === null || vapour === null || frostPointOf(vapour) - on.surfaceTemperature >= growsUntil;
}

function updateFrostByReadings(frost: Frost, readings: Readings, at: Instant, settings: FrostSettings): Frost {
  const { place, practice } = settings;
  const night = updateNight(frost.night, readings, at, place);
  const assumed = assumeLid(night, readings, at, place);
  const measured = coldestMeasuredSurface(readings);
  if (measured === null && assumed === null) return night === frost.night ? frost : { ...frost, night };

  const vapour = measuredVapourPressure(readings);
  const lid =
    measured === null || (assumed !== null && assumed.surfaceTemperature < measured.surfaceTemperature)
      ? assumed
      : null;
  const damp = dampInput(vapour, measured, lid, practice ? noTime : dewWetsFrom);
  const wetness = updateWetness(frost.wetness, damp, readings, at);
  const before: Frost = {
    wetness,
    night,
    coldSpell: updateColdSpell(frost.coldSpell, readings, at),
    found: frost.found,
    freezeThaw:
      measured === null ? frost.freezeThaw : updateFreezeThaw(frost.freezeThaw, measured.surfaceTemperature, thawAbove),
  };
  // What a thermometer shows goes before what is guessed from the air.
  const guessed = before.found?.isEstimated ? before.found : null;
  const unguessed = guessed === null ? before : { ...before, found: null };
  const seen = measured === null ? unguessed : updateMeasuredFrost(unguessed, measured, vapour, at);
  if (assumed === null || seen.found !== null) return seen;
  return updateAssumedFrost({ ...seen, found: guessed }, assumed, vapour, at);
}

function updateMeasuredFrost(frost: Frost, on: MeasuredSurface, vapour: number | null, at: Instant): Frost {
  if (on.surfaceTemperature > thawAbove) return updateByThaw(frost, at);
  const { found } = frost;
  const { wet } = frost.wetness;
  // Where only a guess says that it was wet, only the guess's own rules may tell of it.
  if (wet !== null && !wet.isEstimated && on.surfaceTemperature < freezeBelow)
    return { ...frost, found: frozenWaterFinding(wet, on, at) };
  const point = vapour === null ? null : frostPointOf(vapour);
  if (found === null) {
    const grows = point !== null && on.surfaceTemperature < freezeBelow && point - on.surfaceTemperature >= growsFrom;
    return grows ? { ...frost, found: { kind: "growing", frostPoint: point, at, ...on } } : frost;
  }
  if (found.kind === "frozenWater") return { ...frost, found: { ...found, at, ...on } }; // ice stays until it thaws
  if (point === null || vapour === null) return frost; // said nothing of humidity this time
  if (point - on.surfaceTemperature >= (found.kind === "growing" ? growsUntil : growsFrom)) {
    return { ...frost, found: { kind: "growing", frostPoint: point, at, ...on } };
  }
  const drying = vapour < dryingShare * saturationPressure(overIce, on.surfaceTemperature);
  const dryingSince = drying ? ((found.kind === "remaining" ? found.dryingSince : null) ?? at) : null;
  if (dryingSince !== null && at - dryingSince >= driesOffWithin) return { ...frost, found: null };
  return { ...frost, found: { kind: "remaining", dryingSince, at, ...on } };
}

/**
 * On a lid that nobody measures. A guess takes more margin, and is told once in a cold spell, frost and ice each: in a damp
 * winter every clear night is like the last, and a keeper who was told of the first knows it.
 */
function updateAssumedFrost(
  frost: Frost,
  { surfaceTemperature, isUnderClearSky }: AssumedLid,
  vapour: number | null,
  at: Instant,
): Frost {
  if (surfaceTemperature > thawAbove) return updateByThaw(frost, at);
  const on: MeasuredSurface = { surfaceTemperature, place: "lid", isEstimated: true };
  const { found, coldSpell } = frost;
  const { wet } = frost.wetness;
  if (wet !== null && surfaceTemperature < freezeBelow && found?.kind !== "frozenWater" && coldSpell?.hadIce !== true) {
    return {
      ...frost,
      found: frozenWaterFinding(wet, on, at),
      coldSpell: { foundAt: at, warmSince: null, hadIce: true },
    };
  }
  if (found !== null) {
    // Frost is guessed from the night; when the sun is up, or cloud has come, nothing goes on proving it.
    if (found.kind === "growing" && frost.night === null) return { ...frost, found: null };
    return { ...frost, found: { ...found, at, ...on } };
  }
  if (coldSpell !== null || surfaceTemperature >= freezeBelow) return frost;
  const nextSpell = { foundAt: at, warmSince: null, hadIce: false };
  const point = vapour === null ? null : frostPointOf(vapour);
  const grows = isUnderClearSky && point !== null && point - surfaceTemperature >= growsFrom + guessMargin;
  return grows ? { ...frost, found: { kind: "growing", frostPoint: point, at, ...on }, coldSpell: nextSpell } : frost;
}

const frozenWaterFinding = (
  { at: wetAt, cause, isEstimated }: Wet,
  on: MeasuredSurface,
  at: Instant,
): FrostFinding => ({
  ...on,
  kind: "frozenWater",
  wetAt,
  wetCause: cause,
  at,
  isEstimated: on.isEstimated || isEstimated,
});

/**
 * Ice that thaws is water, and locks the tray anew if nothing dries it before the next cold. The thin frost that one night grows
 * leaves too little of it to glue anything. Common practice, no source.
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

/** Over after a day well above freezing, though not at once, or after four weeks, when it is worth telling again. */
function updateColdSpell(spell: Frost["coldSpell"], { air, inside }: Readings, at: Instant): Frost["coldSpell"] {
  const outside = air ?? inside;
  if (spell === null || at - spell.foundAt >= spellMax) return null;
  if (outside === null) return spell;
  if (outside <= spellWarm) return spell.warmSince === null ? spell : { ...spell, warmSince: null };
  if (spell.warmSince === null) return { ...spell, warmSince: at };
  return at - spell.warmSince >= spellEnds && at - spell.foundAt >= spellMin ? null : spell;
}

function dampInput(
  vapour: number | null,
  measured: MeasuredSurface | null,
  lid: AssumedLid | null,
  dewWetsFrom: Span,
): DampInput {
  const known = measured?.surfaceTemperature ?? lid?.surfaceTemperature;
  if (known === undefined) throw new Error("expected a surface, measured or assumed");
  // A guessed lid gathers dew only under a clear sky; at the air's own temperature it would take fog, which is told apart.
  if (lid !== null) {
    const { surfaceTemperature, isUnderClearSky } = lid;
    return {
      vapourPressure: vapour,
      surfaceTemperature,
      isEstimated: isUnderClearSky,
      dewMargin: 0.5,
      canDewForm: isUnderClearSky,
      dewWettingTime: dewWetsFrom,
    };
  }
  return {
    vapourPressure: vapour,
    surfaceTemperature: known,
    isEstimated: false,
    dewMargin: 0,
    canDewForm: true,
    dewWettingTime: dewWetsFrom,
  };
}

function coldestMeasuredSurface({ lid, inside }: Readings): MeasuredSurface | null {
  if (lid !== null && (inside === null || lid <= inside))
    return { surfaceTemperature: lid, place: "lid", isEstimated: false };
  return inside === null ? null : { surfaceTemperature: inside, place: "inside", isEstimated: false };
}

/** Humidity is measured beside the box's own thermometer; where it has none, in the air. hPa. */
function measuredVapourPressure({ humidity, inside, air }: Readings): number | null {
  const besideIt = inside ?? air;
  return humidity === null || besideIt === null ? null : vapourPressure(besideIt, humidity);
}

/** Air that would sooner wet than frost is taken at 0 °C, where both begin. */
const frostPointOf = (vapour: number): Celsius => frostPoint(vapour) ?? (0 as Celsius);

// Deadbands wider than a cheap thermometer's noise (± 0.5 °C) and what ± 3 % humidity moves the frost point (0.4 °C).
const freezeBelow = -0.5;
const thawAbove = 0.5;
const growsFrom = 1;
const growsUntil = 0.3;
const guessMargin = 0.5;
/** Frost goes slowly into dry air: some tenths of a millimetre in a quarter of a day. Common practice, no source. */
const dryingShare = 0.8;
const driesOffWithin = hours(6);
/**
 * A clear night takes at most some 80 W/m² from a lid, and vapour gives up 2.5 MJ/kg: never more than a tenth of a millimetre of dew
 * an hour, and near freezing about a tenth of that (from memory). Less than an hour of it glues nothing. Common practice, no source.
 */
const dewWetsFrom = hours(1);
/** In practice an evening passes in a quarter of a minute. */
const noTime = hours(0);
// So that guesses alone ring less than once a fortnight, also in a winter about zero where one thaw follows another (measured
// on the tests' invented winters). Our choice.
const spellMin = days(10);
const spellMax = days(28);
const spellWarm = 2;
const spellEnds = hours(24);
