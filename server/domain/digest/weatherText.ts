import { temperatureText, uncapitalize } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { freezingPoint } from "../cold/battery.ts";
import { coldBatteryText } from "../cold/capacityInCold.ts";
import type { Instant } from "../instant.ts";
import { type Celsius, celsius } from "../units.ts";
import { type DigestFeeder, isStanding, nameOf } from "./digestFeeder.ts";
import { groupLines } from "./limitLines.ts";
import { type NightForecast, nightForecast } from "./nightForecast.ts";
import { medianOf } from "./usualWeek.ts";

interface FeederNight {
  readonly feeder: DigestFeeder;
  readonly night: NightForecast;
}

/** One line about the night of the yard, then its effects on the feeders. */
export function weatherLines(feeders: readonly DigestFeeder[], now: Instant): readonly string[] {
  const nights = feeders.flatMap((feeder): FeederNight[] => {
    const night = nightForecast(feeder, now);
    return night === null ? [] : [{ feeder, night }];
  });
  if (nights.length === 0) return feeders.length === 0 ? [] : [texts.digest.weather.noData];
  const perFeeder = nights.flatMap(({ feeder, night }) =>
    [iceText(feeder, night), cakingText(feeder, night), batteryText(feeder, night)]
      .filter((text) => text !== null)
      .map((text) => ({ name: nameOf(feeder), text })),
  );
  return [nightText(nights), ...groupLines(perFeeder)];
}

function nightText(nights: readonly FeederNight[]): string {
  // The median: one thermometer in the sun or in a warm box doesn't count.
  const lowest = celsius(medianOf(nights.map(({ night }) => night.lowest)));
  const temperature = temperatureText(Math.round(lowest));
  const { coldLid, frost, frostOnFeeders, hardFrost, noFrost } = texts.digest.weather;
  if (nights.some(({ night }) => isFrostGrowing(night))) return frostOnFeeders(temperature);
  if (lowest <= freezeBelow) return (lowest <= hardBelow ? hardFrost : frost)(temperature);
  if (nights.some(({ night }) => night.surface <= freezeBelow)) return coldLid(temperature);
  return noFrost(temperature);
}

const isFrostGrowing = ({ surface, frostPoint }: NightForecast): boolean =>
  frostPoint !== null && surface <= freezeBelow && frostPoint - surface >= growsFrom;

/** Water that freezes tonight blocks tray and slot. Left out where the alarm is raised already. */
function iceText({ state }: DigestFeeder, { wet, surface }: NightForecast): string | null {
  if (wet === null || surface > freezeBelow || isStanding(state, "iceLock")) return null;
  return texts.digest.weather.ice;
}

function cakingText({ state }: DigestFeeder, { lowest, warmest }: NightForecast): string | null {
  const { cycles } = state.cold.caking.freezeThaw;
  if (cycles < cyclesReportedFrom || lowest > freezeBelow || warmest < thawAbove || isStanding(state, "feedCaking"))
    return null;
  return texts.digest.weather.caking(cycles);
}

function batteryText({ state }: DigestFeeder, { battery, chargedAt }: NightForecast): string | null {
  const kind = state.settings.battery;
  if (battery === null || kind === "none") return null;
  if (kind === "leadAcid") {
    const margin = marginOf(state.cold.battery, battery);
    if (margin !== null && margin <= nearFreezing && !isStanding(state, "batteryFreezing")) {
      return texts.digest.weather.batteryFreezing;
    }
  } else if (chargedAt !== null && chargedAt < 0 && !isStanding(state, "chargingInFrost")) {
    return texts.digest.weather.chargingInFrost;
  }
  const costs = coldBatteryText(kind, battery);
  return costs === null ? null : uncapitalize(costs);
}

/** °C between the coldest to come and where the battery may freeze, by its lowest voltage of the last day. */
function marginOf(
  { lowestVoltage, previousLowestVoltage }: DigestFeeder["state"]["cold"]["battery"],
  battery: Celsius,
): number | null {
  const rest =
    lowestVoltage === null
      ? previousLowestVoltage
      : previousLowestVoltage === null || lowestVoltage < previousLowestVoltage
        ? lowestVoltage
        : previousLowestVoltage;
  const freezing = rest === null ? null : freezingPoint(rest);
  return freezing === null ? null : battery - freezing.cautious;
}

// The same deadbands as in cold/frost.ts.
const freezeBelow = -0.5;
const thawAbove = 0.5;
const growsFrom = 1;
/** Common practice, no source: birds need more food, and batteries give little. */
export const hardBelow = -10;
/** Shown from the second time on. */
const cyclesReportedFrom = 2;
/** The usual error of such a forecast. */
const nearFreezing = 3;
