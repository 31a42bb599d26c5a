import type { Evidence, Fault } from "../faults.ts";
import { between, type Instant, later } from "../instant.ts";
import { oneInText } from "../oneInText.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import { isLearnt, isRunTooLong, logRunProbability, type Pairing } from "./pairing.ts";
import { isScaleRejected } from "./readingFaults.ts";
import { scaleSilentFault } from "./scaleSilence.ts";
import {
  type BirdSensor,
  birdSensors,
  type RunningTotal,
  type SensorActivity,
  type SensorsState,
} from "./sensorActivity.ts";
import { isSilentTooLong, logSilenceProbability } from "./silenceStatistics.ts";
import { spanText } from "./spanText.ts";

export { readingFaults } from "./readingFaults.ts";
export {
  initialSensors as unwatchedSensors,
  type SensorsState,
  updateSensorsByEvent as sensed,
  updateSensorsByReport as counted,
} from "./sensorActivity.ts";

/** What is silent now though it shouldn't be. `paused`: what birds do at a paused feeder proves nothing. */
export function sensorFaults(sensors: SensorsState, settings: FeederSettings, now: Instant, paused: boolean): Fault[] {
  if (paused) return [];
  const faults: Fault[] = [];
  for (const sensor of birdSensors) {
    if (!settings.sensors[sensor]) continue;
    const fault =
      silentBesideOthersFault(sensors, sensor, settings, now) ?? silentAloneFault(sensors, sensor, settings, now);
    if (fault) faults.push(fault);
  }
  const { scale: watched, constantReadings } = sensors;
  const scale = settings.sensors.scale
    ? scaleSilentFault(watched, constantReadings.hopper, isScaleRejected(sensors))
    : null;
  if (scale) faults.push(scale);
  return faults;
}

const faultKindBySensor = { button: "buttonSilent", detector: "detectorSilent", perch: "perchSilent" } as const;
const sensorNames = { button: "button", detector: "detector", perch: "perch sensor" } as const;
const markNames = { button: "presses", detector: "deposits", perch: "landings" } as const;
const markText = (companion: BirdSensor, sensor: BirdSensor): string =>
  companion === sensor ? "things that fell into its slot" : markNames[companion];

function silentBesideOthersFault(
  sensors: SensorsState,
  sensor: BirdSensor,
  settings: FeederSettings,
  now: Instant,
): Fault | null {
  const watched = sensors[sensor];
  let found: { companion: BirdSensor; pairing: Pairing; logChance: number } | null = null;
  for (const companion of birdSensors) {
    const pairing = watched.pairings[companion];
    if (pairing === null || !settings.sensors[companion] || !isRunTooLong(pairing, now, settings)) continue;
    const logChance = logRunProbability(pairing, settings);
    if (found === null || logChance < found.logChance) found = { companion, pairing, logChance };
  }
  if (found === null) return null;
  const { pairing, companion } = found;
  const chance = Math.exp(found.logChance);
  const share = pairing.hits / (pairing.hits + pairing.misses);
  return {
    kind: faultKindBySensor[sensor],
    reason:
      `The ${sensorNames[sensor]} has said nothing during the last ${pairing.openMarks} ${markText(companion, sensor)}` +
      `${sinceText(watched.lastCountAt, now)}. It used to answer ${tenthsText(share)}.`,
    evidence: [
      ...lastCountEvidence(watched),
      { label: `${markText(companion, sensor)} since`, value: String(pairing.openMarks), at: null },
      { label: "share answered before", value: `${Math.round(100 * share)} %`, at: null },
      { label: "chance of such a run if it works", value: oneInText(chance), at: now },
      ...decreaseEvidence(watched),
    ],
    confidence: probability(1 - chance),
  };
}

/** Only for a sensor that no companion could speak for: beside others, "all silent" means that no bird came. */
function silentAloneFault(
  sensors: SensorsState,
  sensor: BirdSensor,
  settings: FeederSettings,
  now: Instant,
): Fault | null {
  const watched = sensors[sensor];
  for (const companion of birdSensors) {
    const pairing = watched.pairings[companion];
    if (pairing !== null && settings.sensors[companion] && isLearnt(pairing)) return null;
  }
  if (!isSilentTooLong(watched.silence, settings.place, now)) return null;
  const chance = Math.exp(logSilenceProbability(watched.silence, settings.place, now));
  return {
    kind: faultKindBySensor[sensor],
    reason:
      `The ${sensorNames[sensor]} has said nothing${sinceText(watched.lastCountAt, now)}, far longer than it ever does in daylight. ` +
      "No other sensor can tell whether birds came.",
    evidence: [
      ...lastCountEvidence(watched),
      { label: "chance of such a silence if it works", value: oneInText(chance), at: now },
      ...decreaseEvidence(watched),
    ],
    confidence: probability(1 - chance),
  };
}

const sinceText = (lastAt: Instant | null, now: Instant) =>
  lastAt === null ? "" : ` (in ${spanText(between(lastAt, later(lastAt, now)))})`;

const lastCountEvidence = ({ lastCountAt }: SensorActivity): Evidence[] =>
  lastCountAt === null ? [] : [{ label: "last spoke", value: "a count", at: lastCountAt }];

const decreaseEvidence = ({ decrease }: RunningTotal): Evidence[] =>
  decrease === null
    ? []
    : [{ label: "its total ran backwards", value: `${decrease.from} to ${decrease.to}`, at: decrease.at }];

function tenthsText(share: number): string {
  const tenths = Math.round(10 * share);
  if (tenths >= 10) return "nearly every one";
  return tenths >= 1 ? `about ${tenths} in 10` : `about ${Math.max(1, Math.round(100 * share))} in 100`;
}
