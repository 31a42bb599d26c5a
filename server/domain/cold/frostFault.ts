import { temperatureText } from "../../text/format.ts";
import type { Evidence, Fault } from "../faults.ts";
import type { FreezeThaw } from "./freezeThaw.ts";
import type { FrostFinding } from "./frost.ts";
import { clearSkyCoolingMax, clearSkyCoolingMin } from "./nightCooling.ts";
import type { Wet } from "./wetness.ts";

/** Frozen water locks tray and slot and needs a visit; frost from the air is thin, and only a note. */
export function frostFault(found: FrostFinding, { cycles }: FreezeThaw): Fault {
  const kind = found.kind === "frozenWater" ? "iceLock" : "frostInside";
  return { kind, reason: frostReason(found), evidence: frostEvidence(found, cycles), confidence: null };
}

function frostReason(found: FrostFinding): string {
  const placeText = found.place === "lid" ? "lid" : "inside of the box";
  const surface = temperatureText(found.surfaceTemperature);
  switch (found.kind) {
    case "growing":
      return found.isEstimated
        ? `A clear, damp night: the lid is estimated at ${surface} or colder, without a thermometer on it, ` +
            `and frost may form on surfaces below ${temperatureText(found.frostPoint)}.`
        : `The ${placeText} is at ${surface}, and the air is so damp that ` +
            `frost forms on surfaces below ${temperatureText(found.frostPoint)}.`;
    case "remaining":
      return `Frost grew on the ${placeText} and hasn't thawed since: it is at ${surface} now.`;
    case "frozenWater":
      return found.isEstimated
        ? `The lid ${likelyWetText[found.wetCause]} and is estimated at ${surface} now, without a thermometer on it: ` +
            "there may be ice on tray and slot."
        : `The ${placeText} ${wetText[found.wetCause]} and is now at ${surface}: expect ice on tray and slot.`;
  }
}

const wetText: Record<Wet["cause"], string> = {
  dew: "was wet with dew",
  saturatedAir: "was wet from rain, wet snow or fog",
  thaw: "had ice that thawed and never dried,",
};
const likelyWetText: Record<Wet["cause"], string> = {
  dew: "was likely wet with dew",
  saturatedAir: "was wet from rain, wet snow or fog",
  thaw: "likely had ice that thawed and never dried,",
};
const wetEvidenceText: Record<Wet["cause"], string> = {
  dew: "dew on it",
  saturatedAir: "very humid air for an hour",
  thaw: "its ice thawed",
};

function frostEvidence(found: FrostFinding, cycles: number): Evidence[] {
  const placeText = found.place === "lid" ? "lid" : "inside of the box";
  const label = found.isEstimated ? `estimated temperature of the ${placeText}` : `temperature of the ${placeText}`;
  const evidence: Evidence[] = [{ label, value: temperatureText(found.surfaceTemperature), at: found.at }];
  if (found.isEstimated) {
    const coolingText = `${clearSkyCoolingMin} to ${clearSkyCoolingMax} °C below the air`;
    evidence.push({ label: "a lid under a clear night sky", value: coolingText, at: null });
  }
  if (found.kind === "growing") {
    evidence.push({ label: "frost point of the air", value: temperatureText(found.frostPoint), at: found.at });
  } else if (found.kind === "frozenWater") {
    evidence.push({ label: "last seen wet", value: wetEvidenceText[found.wetCause], at: found.wetAt });
  }
  evidence.push({ label: "times it froze and thawed so far", value: String(cycles), at: null });
  return evidence;
}
