import { numberText, temperatureText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Evidence, Fault } from "../faults.ts";
import type { FreezeThaw } from "./freezeThaw.ts";
import type { FrostFinding } from "./frost.ts";
import { clearSkyCoolingMax, clearSkyCoolingMin } from "./nightCooling.ts";

/** Frozen water locks tray and slot and needs a visit; frost from the air is thin, and only a note. */
export function frostFault(found: FrostFinding, { cycles }: FreezeThaw): Fault {
  const kind = found.kind === "frozenWater" ? "iceLock" : "frostInside";
  return { kind, reason: frostReason(found), evidence: frostEvidence(found, cycles), confidence: null };
}

function frostReason(found: FrostFinding): string {
  const text = texts.cold.frost;
  const place = text.place[found.place];
  const temperature = temperatureText(found.surfaceTemperature);
  switch (found.kind) {
    case "growing":
      return found.isEstimated
        ? text.growingByEstimate(temperature, temperatureText(found.frostPoint))
        : text.growing(place, temperature, temperatureText(found.frostPoint));
    case "remaining":
      return text.remaining(place, temperature);
    case "frozenWater":
      return found.isEstimated
        ? text.frozenWaterByEstimate[found.wetCause](temperature)
        : text.frozenWater[found.wetCause](place, temperature);
  }
}

function frostEvidence(found: FrostFinding, cycles: number): Evidence[] {
  const text = texts.cold.frost;
  const place = text.place[found.place];
  const label = found.isEstimated ? text.estimatedTemperatureLabel(place) : text.temperatureLabel(place);
  const evidence: Evidence[] = [{ label, value: temperatureText(found.surfaceTemperature), at: found.at }];
  if (found.isEstimated) {
    const coolingText = text.clearSky(clearSkyCoolingMin, clearSkyCoolingMax);
    evidence.push({ label: text.clearSkyLabel, value: coolingText, at: null });
  }
  if (found.kind === "growing") {
    evidence.push({ label: text.frostPointLabel, value: temperatureText(found.frostPoint), at: found.at });
  } else if (found.kind === "frozenWater") {
    evidence.push({ label: text.lastWetLabel, value: text.wetEvidence[found.wetCause], at: found.wetAt });
  }
  evidence.push({ label: text.cyclesLabel, value: numberText(cycles), at: null });
  return evidence;
}
