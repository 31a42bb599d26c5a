import { texts } from "../../text/index.ts";
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
    return found === null
      ? []
      : [{ name: nameOf(feeder), text: found.length === 0 ? texts.digest.wear.none : found.join(" ") }];
  });
  const worn = entries.filter(({ text }) => text !== texts.digest.wear.none);
  if (entries.length > 0 && worn.length === 0) return [texts.digest.wear.noneAtAll];
  return groupLines(worn);
}

/** Null where none of its numbers is sufficient yet. */
function wearOf(feeder: DigestFeeder, zone: string, now: Instant): readonly string[] | null {
  const found = [motorText(feeder, zone, now), chuteText(feeder), detectorText(feeder)];
  const known = found.filter((text) => text !== null);
  return known.length === 0 ? null : known.filter((text) => text !== "");
}

// Each: null where it can't be known, empty where all is OK.

/** A dry bearing or a rubbing tray: the same portion takes more current. Compared at one temperature. */
function motorText({ state }: DigestFeeder, zone: string, now: Instant): string | null {
  const drift = currentDrift(state.feed.motor);
  if (drift === null) return null;
  if (Math.abs(drift.share) < driftMin || Math.abs(drift.logRatio) < 3 * drift.deviation) return "";
  const percent = Math.round(20 * Math.abs(drift.share)) * 5; // no finer than it is known
  const { motorHigher, motorLower, motorSince } = texts.digest.wear;
  const since = motorSince(dateText(localDateOf(drift.since, zone), localDateOf(now, zone)), drift.portions);
  return drift.share > 0 ? motorHigher(percent, since) : motorLower(percent, since);
}
/** Grease and supply change a current by a tenth without wear. Common practice, no source. */
const driftMin = 0.2;

/** Dust and scratches: the sensor misses falling food. One that doesn't work at all has its own alarm. */
function chuteText({ state }: DigestFeeder): string | null {
  const { chute } = state.feed;
  if (!state.settings.sensors.chute || chute.portionsLearnt < portionsNeeded) return null;
  if (chute.missedShare < missedMin || isStanding(state, "chuteBlind")) return "";
  return texts.digest.wear.chute(Math.round(1 / chute.missedShare));
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
  return texts.digest.wear.detector(Math.max(2, Math.round(1 / missed)));
}
const depositsNeeded = 50;
const missesFrom = 0.05;
