import type { Evidence, Fault } from "../faults.ts";
import { degrees } from "./degrees.ts";
import type { FreezeThaw } from "./freezeThaw.ts";
import type { FoundFrost } from "./frost.ts";
import { clearSkyLeast, clearSkyMost } from "./nightCooling.ts";
import type { Wet } from "./wetness.ts";

/** Water that froze glues tray and slot, worth going there for; frost that grew out of the air is thin, and only noted. */
export function frostOrIce(found: FoundFrost, { cycles }: FreezeThaw): Fault {
  const kind = found.kind === "wetFroze" ? "iceLock" : "frostInside";
  return { kind, reason: reasonOf(found), evidence: evidenceOf(found, cycles), sure: null };
}

function reasonOf(found: FoundFrost): string {
  const where = found.where === "lid" ? "lid" : "inside of the box";
  const surface = degrees(found.surface);
  switch (found.kind) {
    case "grows":
      return found.estimated
        ? `A clear, damp night: the lid is estimated at ${surface} or colder, without a thermometer on it, ` +
            `and the air may frost anything below ${degrees(found.frostPoint)}.`
        : `The ${where} is at ${surface}, and the air is damp enough to frost ` +
            `anything below ${degrees(found.frostPoint)}.`;
    case "stays":
      return `Frost grew on the ${where} and hasn't thawed since: it is at ${surface} now.`;
    case "wetFroze":
      return found.estimated
        ? `The lid ${perhapsWet[found.wetBy]} and is estimated at ${surface} now, without a thermometer on it: ` +
            "there may be ice on tray and slot."
        : `The ${where} ${wasWet[found.wetBy]} and is now at ${surface}: expect ice on tray and slot.`;
  }
}

const wasWet: Record<Wet["by"], string> = {
  dew: "was wet with dew",
  saturatedAir: "was wet from rain, wet snow or fog",
  thaw: "had ice that thawed and never dried,",
};
const perhapsWet: Record<Wet["by"], string> = {
  dew: "was likely wet with dew",
  saturatedAir: "was wet from rain, wet snow or fog",
  thaw: "likely had ice that thawed and never dried,",
};
const seenAs: Record<Wet["by"], string> = {
  dew: "dew on it",
  saturatedAir: "air full of water for an hour",
  thaw: "its ice thawed",
};

function evidenceOf(found: FoundFrost, cycles: number): Evidence[] {
  const where = found.where === "lid" ? "lid" : "inside of the box";
  const how = found.estimated ? `estimated temperature of the ${where}` : `temperature of the ${where}`;
  const evidence: Evidence[] = [{ what: how, value: degrees(found.surface), at: found.at }];
  if (found.estimated) {
    const band = `${clearSkyLeast} to ${clearSkyMost} °C below the air`;
    evidence.push({ what: "a lid under a clear night sky", value: band, at: null });
  }
  if (found.kind === "grows") {
    evidence.push({ what: "frost point of the air", value: degrees(found.frostPoint), at: found.at });
  } else if (found.kind === "wetFroze") {
    evidence.push({ what: "last seen wet", value: seenAs[found.wetBy], at: found.wetAt });
  }
  evidence.push({ what: "times it froze and thawed so far", value: String(cycles), at: null });
  return evidence;
}
