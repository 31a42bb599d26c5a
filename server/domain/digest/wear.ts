import { estimatedMissedShare } from "../cold/detectorSignal.ts";
import { currentDrift } from "../feed/motorModel.ts";
import type { Instant } from "../instant.ts";
import { dateText, localDateOf } from "../localTime.ts";
import { type DigestFeeder, isStanding, nameOf } from "./digestFeeder.ts";
import { groupLines } from "./limitLines.ts";

/** Signs of wear in the feeder's numbers. Empty where no number can show it: then nothing is claimed. */
export function wearLines(feeders: readonly DigestFeeder[], zone: string, now: Instant): readonly string[] {
  const entries = feeders.flatMap((feeder) => {
    const found = wearOf(feeder, zone, now);
    return found === null ? [] : [{ name: nameOf(feeder), text: found.length === 0 ? noWearText : found.join(" ") }];
  });
  const worn = entries.filter(({ text }) => text !== noWearText);
  if (entries.length > 0 && worn.length === 0) return ["No signs of wear."];
  return groupLines(worn);
}
const noWearText = "no signs of wear.";

/** Null where none of its numbers is sufficient yet. */
function wearOf(feeder: DigestFeeder, zone: string, now: Instant): readonly string[] | null {
  const texts = [motorText(feeder, zone, now), chuteText(feeder), detectorText(feeder)];
  const known = texts.filter((text) => text !== null);
  return known.length === 0 ? null : known.filter((text) => text !== "");
}

// Each: null where it can't be known, empty where all is OK.

/** A dry bearing or a rubbing tray: the same portion takes more current. Compared at one temperature. */
function motorText({ state }: DigestFeeder, zone: string, now: Instant): string | null {
  const drift = currentDrift(state.feed.motor);
  if (drift === null) return null;
  if (Math.abs(drift.share) < driftMin || Math.abs(drift.logRatio) < 3 * drift.deviation) return "";
  const percent = Math.round(20 * Math.abs(drift.share)) * 5; // no finer than it is known
  const since = `${dateText(localDateOf(drift.since, zone), localDateOf(now, zone))}, ${drift.portions} portions ago`;
  return drift.share > 0
    ? `motor current about ${percent} % higher than on ${since}: check tray and bearing.`
    : `motor current about ${percent} % lower than on ${since}: check that the tray still turns with food.`;
}
/** Grease and supply change a current by a tenth without wear. Common practice, no source. */
const driftMin = 0.2;

/** Dust and scratches: the sensor misses falling food. One that doesn't work at all has its own alarm. */
function chuteText({ state }: DigestFeeder): string | null {
  const { chute } = state.feed;
  if (!state.settings.sensors.chute || chute.portionsLearnt < portionsNeeded) return null;
  if (chute.missedShare < missedMin || isStanding(state, "chuteBlind")) return "";
  return `its chute sensor misses about 1 of ${Math.round(1 / chute.missedShare)} portions: clean it.`;
}
const portionsNeeded = 100;
/** Three times the assumed share of a sound one. Common practice, no source. */
const missedMin = 0.06;

/** A detector that is weaker in the cold, before it is an alarm. */
function detectorText({ state }: DigestFeeder): string | null {
  const { signalModel, lastTemperature } = state.cold.detector;
  if (!state.settings.sensors.detector || lastTemperature === null || signalModel.weight < depositsNeeded) return null;
  const missed = estimatedMissedShare(signalModel, lastTemperature.celsius);
  if (missed < missesFrom || isStanding(state, "detectorDrifting")) return "";
  return `in this cold its metal detector may miss about 1 of ${Math.max(2, Math.round(1 / missed))} caps.`;
}
const depositsNeeded = 50;
const missesFrom = 0.05;
