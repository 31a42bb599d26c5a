import { estimatedMissedShare } from "../cold/detectorSignal.ts";
import { currentDrift } from "../feed/motorModel.ts";
import type { Instant } from "../instant.ts";
import { dateText, localDateOf } from "../localTime.ts";
import { type DigestFeeder, isStanding, nameOf } from "./digestFeeder.ts";
import { groupLines } from "./limitLines.ts";

/** What wears, as far as the feeder's own numbers tell. Nothing where none of them can: then nobody is reassured for nothing. */
export function wearLines(feeders: readonly DigestFeeder[], zone: string, now: Instant): readonly string[] {
  const told = feeders.flatMap((feeder) => {
    const found = wearOf(feeder, zone, now);
    return found === null ? [] : [{ name: nameOf(feeder), text: found.length === 0 ? noWearText : found.join(" ") }];
  });
  const worn = told.filter(({ text }) => text !== noWearText);
  if (told.length > 0 && worn.length === 0) return ["Nothing shows wear."];
  return groupLines(worn);
}
const noWearText = "nothing shows wear.";

/** Null where none of its numbers says anything yet. */
function wearOf(feeder: DigestFeeder, zone: string, now: Instant): readonly string[] | null {
  const told = [motorText(feeder, zone, now), chuteText(feeder), detectorText(feeder)];
  const known = told.filter((words) => words !== null);
  return known.length === 0 ? null : known.filter((words) => words !== "");
}

// Each: null where it can't be known, empty where all is well.

/** A bearing that runs dry, a tray that grinds: the same portion takes more current. Compared at one temperature. */
function motorText({ state }: DigestFeeder, zone: string, now: Instant): string | null {
  const drift = currentDrift(state.feed.motor);
  if (drift === null) return null;
  if (Math.abs(drift.share) < driftMin || Math.abs(drift.logRatio) < 3 * drift.deviation) return "";
  const percent = Math.round(20 * Math.abs(drift.share)) * 5; // no finer than it is known
  const since = `${dateText(localDateOf(drift.since, zone), localDateOf(now, zone))}, ${drift.portions} portions ago`;
  return drift.share > 0
    ? `the motor draws about ${percent} % more than on ${since}: look at tray and bearing.`
    : `the motor draws about ${percent} % less than on ${since}: look whether the tray still turns full.`;
}
/** Grease and supply move a current by a tenth without anything being worn. Common practice, no source. */
const driftMin = 0.2;

/** Dust and scratches on a beam: the sensor is used to missing what falls. A blind one is an alarm, and not told twice. */
function chuteText({ state }: DigestFeeder): string | null {
  const { chute } = state.feed;
  if (!state.settings.sensors.chute || chute.portionsLearnt < portionsNeeded) return null;
  if (chute.missedShare < missedMin || isStanding(state, "chuteBlind")) return "";
  return `its chute sensor misses about one portion in ${Math.round(1 / chute.missedShare)}: wipe it.`;
}
const portionsNeeded = 100;
/** Three times what a sound one is taken to miss. Common practice, no source. */
const missedMin = 0.06;

/** A detector that cold makes weaker, before it is an alarm. */
function detectorText({ state }: DigestFeeder): string | null {
  const { signalModel, lastTemperature } = state.cold.detector;
  if (!state.settings.sensors.detector || lastTemperature === null || signalModel.weight < depositsNeeded) return null;
  const missed = estimatedMissedShare(signalModel, lastTemperature.celsius);
  if (missed < missesFrom || isStanding(state, "detectorDrifting")) return "";
  return `in this cold its detector may miss about one cap in ${Math.max(2, Math.round(1 / missed))}.`;
}
const depositsNeeded = 50;
const missesFrom = 0.05;
