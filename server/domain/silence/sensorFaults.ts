import { spanText } from "../../text/format.ts";
import type { Evidence, Fault } from "../faults.ts";
import { between, type Instant, later } from "../instant.ts";
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

export { readingFaults } from "./readingFaults.ts";
export {
  initialSensors,
  type SensorsState,
  updateSensorsByEvent,
  updateSensorsByReport,
} from "./sensorActivity.ts";

/** Sensors that are silent though they shouldn't be. `paused`: what birds do at a paused feeder proves nothing. */
export function sensorFaults(sensors: SensorsState, settings: FeederSettings, now: Instant, paused: boolean): Fault[] {
  if (paused) return [];
  const faults: Fault[] = [];
  for (const sensor of birdSensors) {
    if (!settings.sensors[sensor]) continue;
    const fault =
      silentBesideOthersFault(sensors, sensor, settings, now) ?? silentAloneFault(sensors, sensor, settings, now);
    if (fault) faults.push(fault);
  }
  const { scale: activity, constantReadings } = sensors;
  const scale = settings.sensors.scale
    ? scaleSilentFault(activity, constantReadings.hopper, isScaleRejected(sensors))
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
  const activity = sensors[sensor];
  let strongest: { companion: BirdSensor; pairing: Pairing; logChance: number } | null = null;
  for (const companion of birdSensors) {
    const pairing = activity.pairings[companion];
    if (pairing === null || !settings.sensors[companion] || !isRunTooLong(pairing, now, settings)) continue;
    const logProbability = logRunProbability(pairing, settings);
    if (strongest === null || logProbability < strongest.logChance)
      strongest = { companion, pairing, logChance: logProbability };
  }
  if (strongest === null) return null;
  const { pairing, companion } = strongest;
  const probabilityOfRun = Math.exp(strongest.logChance);
  const share = pairing.hits / (pairing.hits + pairing.misses);
  return {
    kind: faultKindBySensor[sensor],
    reason:
      `The ${sensorNames[sensor]} did not react in the last ${pairing.openMarks} ${markText(companion, sensor)}` +
      `${sinceText(activity.lastCountAt, now)}. Usually it reacts in ${tenthsText(share)}.`,
    evidence: [
      ...lastCountEvidence(activity),
      { label: `${markText(companion, sensor)} since`, value: String(pairing.openMarks), at: null },
      { label: "usual share of reactions", value: `${Math.round(100 * share)} %`, at: null },
      ...decreaseEvidence(activity),
    ],
    confidence: probability(1 - probabilityOfRun),
  };
}

/** Only for a sensor without companions: beside others, "all silent" means that no bird came. */
function silentAloneFault(
  sensors: SensorsState,
  sensor: BirdSensor,
  settings: FeederSettings,
  now: Instant,
): Fault | null {
  const activity = sensors[sensor];
  for (const companion of birdSensors) {
    const pairing = activity.pairings[companion];
    if (pairing !== null && settings.sensors[companion] && isLearnt(pairing)) return null;
  }
  if (!isSilentTooLong(activity.silence, settings.place, now)) return null;
  const probabilityOfRun = Math.exp(logSilenceProbability(activity.silence, settings.place, now));
  return {
    kind: faultKindBySensor[sensor],
    reason:
      `The ${sensorNames[sensor]} gave no signal${sinceText(activity.lastCountAt, now)}, for much longer than usual in daylight. ` +
      "No other sensor shows whether birds came.",
    evidence: [...lastCountEvidence(activity), ...decreaseEvidence(activity)],
    confidence: probability(1 - probabilityOfRun),
  };
}

const sinceText = (lastAt: Instant | null, now: Instant) =>
  lastAt === null ? "" : ` (in ${spanText(between(lastAt, later(lastAt, now)))})`;

const lastCountEvidence = ({ lastCountAt }: SensorActivity): Evidence[] =>
  lastCountAt === null ? [] : [{ label: "last signal", value: "a count", at: lastCountAt }];

const decreaseEvidence = ({ decrease }: RunningTotal): Evidence[] =>
  decrease === null
    ? []
    : [{ label: "its counter went backwards", value: `${decrease.from} to ${decrease.to}`, at: decrease.at }];

function tenthsText(share: number): string {
  const tenths = Math.round(10 * share);
  if (tenths >= 10) return "nearly all of them";
  return tenths >= 1 ? `about ${tenths} of 10` : `about ${Math.max(1, Math.round(100 * share))} of 100`;
}
