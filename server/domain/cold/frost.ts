import { days, hours, type Instant, type Span } from "../instant.ts";
import type { Readings } from "../report.ts";
import type { FeederSettings } from "../settings.ts";
import type { Celsius } from "../units.ts";
import { type FreezeThaw, feltFreezeThaw, unfrozen } from "./freezeThaw.ts";
import { type AssumedLid, assumedLid, feltNight, type NightAir } from "./nightCooling.ts";
import { frostPoint, overIce, saturation, vapourPressure } from "./psychrometrics.ts";
import { type Damp, dry, feltWetness, thawed, type Wet, type Wetness } from "./wetness.ts";

/** Frost that grows inside, thin, and water that was there before the cold, which locks the tray. */
export interface Frost {
  readonly wetness: Wetness;
  readonly night: NightAir | null;
  /** The cold spell in which frost or ice was last estimated, not measured; null when the next may be. */
  readonly spell: {
    readonly foundAt: Instant;
    readonly warmSince: Instant | null;
    readonly iced: boolean; // false where frost alone was estimated: ice in the same spell is still news
  } | null;
  readonly found: FoundFrost | null;
  readonly freezeThaw: FreezeThaw;
}

export type FoundFrost = {
  readonly at: Instant; // of the newest readings that show it
  readonly surface: Celsius;
  readonly where: "lid" | "inside";
  readonly estimated: boolean; // by the air, for want of a thermometer on the lid
} & (
  | { readonly kind: "grows"; readonly frostPoint: Celsius }
  | { readonly kind: "stays"; readonly dryingSince: Instant | null } // frost that grew and has neither thawed nor dried off
  | { readonly kind: "wetFroze"; readonly wetAt: Instant; readonly wetBy: Wet["by"] }
);

type Surface = Pick<FoundFrost, "surface" | "where" | "estimated">;

/** In practice frost goes with the fault that was chosen: a newcomer who heals it shall see it healed. */
type FrostSettings = Pick<FeederSettings, "place" | "practice">;

export const noFrost = (): Frost => ({
  wetness: dry(),
  night: null,
  spell: null,
  found: null,
  freezeThaw: unfrozen(),
});

export function feltFrost(frost: Frost, readings: Readings, at: Instant, settings: FrostSettings): Frost {
  const after = weighedFrost(frost, readings, at, settings);
  if (!settings.practice) return after;
  const { found, wetness } = after;
  if (found?.kind === "stays" || (found?.kind === "wetFroze" && !settlesNow(readings))) {
    return { ...after, found: null, wetness: dry() };
  }
  return wetness.wet?.by === "thaw" ? { ...after, wetness: dry() } : after;
}

/** The chosen cold night keeps its air damp; healthy practice weather never wets or frosts anything. */
function settlesNow(readings: Readings): boolean {
  const on = coldestMeasured(readings);
  const vapour = vapourOf(readings);
  return on === null || vapour === null || frostPointOf(vapour) - on.surface >= growsUntil;
}

function weighedFrost(frost: Frost, readings: Readings, at: Instant, settings: FrostSettings): Frost {
  const { place, practice } = settings;
  const night = feltNight(frost.night, readings, at, place);
  const assumed = assumedLid(night, readings, at, place);
  const measured = coldestMeasured(readings);
  if (measured === null && assumed === null) return night === frost.night ? frost : { ...frost, night };

  const vapour = vapourOf(readings);
  const lid = measured === null || (assumed !== null && assumed.surface < measured.surface) ? assumed : null;
  const damp = dampOf(vapour, measured, lid, practice ? noTime : dewWetsFrom);
  const wetness = feltWetness(frost.wetness, damp, readings, at);
  const before: Frost = {
    wetness,
    night,
    spell: feltSpell(frost.spell, readings, at),
    found: frost.found,
    freezeThaw: measured === null ? frost.freezeThaw : feltFreezeThaw(frost.freezeThaw, measured.surface, thawAbove),
  };
  // What a thermometer shows goes before what is guessed from the air.
  const guessed = before.found?.estimated ? before.found : null;
  const unguessed = guessed === null ? before : { ...before, found: null };
  const seen = measured === null ? unguessed : seenOn(unguessed, measured, vapour, at);
  if (assumed === null || seen.found !== null) return seen;
  return guessedOn({ ...seen, found: guessed }, assumed, vapour, at);
}

function seenOn(frost: Frost, on: Surface, vapour: number | null, at: Instant): Frost {
  if (on.surface > thawAbove) return melted(frost, at);
  const { found } = frost;
  const { wet } = frost.wetness;
  // Where only a guess says that it was wet, only the guess's own rules may tell of it.
  if (wet !== null && !wet.estimated && on.surface < freezeBelow) return { ...frost, found: frozen(wet, on, at) };
  const point = vapour === null ? null : frostPointOf(vapour);
  if (found === null) {
    const grows = point !== null && on.surface < freezeBelow && point - on.surface >= growsFrom;
    return grows ? { ...frost, found: { kind: "grows", frostPoint: point, at, ...on } } : frost;
  }
  if (found.kind === "wetFroze") return { ...frost, found: { ...found, at, ...on } }; // ice stays until it thaws
  if (point === null || vapour === null) return frost; // said nothing of humidity this time
  if (point - on.surface >= (found.kind === "grows" ? growsUntil : growsFrom)) {
    return { ...frost, found: { kind: "grows", frostPoint: point, at, ...on } };
  }
  const drying = vapour < dryingShare * saturation(overIce, on.surface);
  const dryingSince = drying ? ((found.kind === "stays" ? found.dryingSince : null) ?? at) : null;
  if (dryingSince !== null && at - dryingSince >= driesOffWithin) return { ...frost, found: null };
  return { ...frost, found: { kind: "stays", dryingSince, at, ...on } };
}

/**
 * On a lid that nobody measures. A guess takes more margin, and is told once in a cold spell, frost and ice each: in a damp
 * winter every clear night is like the last, and a keeper who was told of the first knows it.
 */
function guessedOn(frost: Frost, { surface, underClearSky }: AssumedLid, vapour: number | null, at: Instant): Frost {
  if (surface > thawAbove) return melted(frost, at);
  const on: Surface = { surface, where: "lid", estimated: true };
  const { found, spell } = frost;
  const { wet } = frost.wetness;
  if (wet !== null && surface < freezeBelow && found?.kind !== "wetFroze" && spell?.iced !== true) {
    return { ...frost, found: frozen(wet, on, at), spell: { foundAt: at, warmSince: null, iced: true } };
  }
  if (found !== null) {
    // Frost is guessed from the night; when the sun is up, or cloud has come, nothing goes on proving it.
    if (found.kind === "grows" && frost.night === null) return { ...frost, found: null };
    return { ...frost, found: { ...found, at, ...on } };
  }
  if (spell !== null || surface >= freezeBelow) return frost;
  const nextSpell = { foundAt: at, warmSince: null, iced: false };
  const point = vapour === null ? null : frostPointOf(vapour);
  const grows = underClearSky && point !== null && point - surface >= growsFrom + guessMargin;
  return grows ? { ...frost, found: { kind: "grows", frostPoint: point, at, ...on }, spell: nextSpell } : frost;
}

const frozen = ({ at: wetAt, by: wetBy, estimated }: Wet, on: Surface, at: Instant): FoundFrost => ({
  ...on,
  kind: "wetFroze",
  wetAt,
  wetBy,
  at,
  estimated: on.estimated || estimated,
});

/**
 * Ice that thaws is water, and locks the tray anew if nothing dries it before the next cold. The thin frost that one night grows
 * leaves too little of it to glue anything. Common practice, no source.
 */
function melted(frost: Frost, at: Instant): Frost {
  const { found, wetness } = frost;
  if (found === null) return frost;
  return { ...frost, found: null, wetness: found.kind === "wetFroze" ? thawed(wetness, at, found.estimated) : wetness };
}

/** Over after a day well above freezing, though not at once, or after four weeks, when it is worth telling again. */
function feltSpell(spell: Frost["spell"], { air, inside }: Readings, at: Instant): Frost["spell"] {
  const outside = air ?? inside;
  if (spell === null || at - spell.foundAt >= spellMax) return null;
  if (outside === null) return spell;
  if (outside <= spellWarm) return spell.warmSince === null ? spell : { ...spell, warmSince: null };
  if (spell.warmSince === null) return { ...spell, warmSince: at };
  return at - spell.warmSince >= spellEnds && at - spell.foundAt >= spellMin ? null : spell;
}

function dampOf(vapour: number | null, measured: Surface | null, lid: AssumedLid | null, dewWetsFrom: Span): Damp {
  const known = measured?.surface ?? lid?.surface;
  if (known === undefined) throw new Error("expected a surface, measured or assumed");
  // A guessed lid gathers dew only under a clear sky; at the air's own temperature it would take fog, which is told apart.
  if (lid !== null) {
    const { surface, underClearSky } = lid;
    return { vapour, surface, estimated: underClearSky, dewMargin: 0.5, dewKnown: underClearSky, dewWetsFrom };
  }
  return { vapour, surface: known, estimated: false, dewMargin: 0, dewKnown: true, dewWetsFrom };
}

function coldestMeasured({ lid, inside }: Readings): Surface | null {
  if (lid !== null && (inside === null || lid <= inside)) return { surface: lid, where: "lid", estimated: false };
  return inside === null ? null : { surface: inside, where: "inside", estimated: false };
}

/** Humidity is measured beside the box's own thermometer; where it has none, in the air. hPa. */
function vapourOf({ humidity, inside, air }: Readings): number | null {
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
