import { numberText, percentText, spanText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Evidence, Fault } from "../faults.ts";
import { between, type Instant, later } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import { isLearnt, isRunTooLong, logRunProbability, type Pairing, pairContext } from "./pairing.ts";
import { isScaleRejected } from "./readingFaults.ts";
import { scaleSilentFault } from "./scaleSilence.ts";
import {
  type BirdSensor,
  birdSensors,
  type RunningTotal,
  type SensorActivity,
  type SensorsState,
} from "./sensorsState.ts";
import { isSilentTooLong, logSilenceProbability } from "./silenceStatistics.ts";

export { isFoundChattering, readingFaults } from "./readingFaults.ts";
export { doubtfulSince } from "./recordActivity.ts";
export { countWithoutActivity, updateSensorsByEvent, updateSensorsByReport } from "./sensorActivity.ts";
export { initialSensors, type SensorsState } from "./sensorsState.ts";

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
const eventsText = (companion: BirdSensor, sensor: BirdSensor): string =>
  texts.sensorFaults.events[companion === sensor ? "slot" : companion];

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
    if (pairing === null || !settings.sensors[companion]) continue;
    const pair = pairContext(settings, sensor, companion);
    if (!isRunTooLong(pairing, now, pair)) continue;
    const logProbability = logRunProbability(pairing, pair);
    if (strongest === null || logProbability < strongest.logChance)
      strongest = { companion, pairing, logChance: logProbability };
  }
  if (strongest === null) return null;
  const { pairing, companion } = strongest;
  const probabilityOfRun = Math.exp(strongest.logChance);
  const share = pairing.hits / (pairing.hits + pairing.misses);
  const text = texts.sensorFaults;
  const [name, events] = [text.names[sensor], eventsText(companion, sensor)];
  const counted = text.countedEvents(pairing.openMarks, events);
  const span = sinceText(activity.lastCountAt, now);
  return {
    kind: faultKindBySensor[sensor],
    reason:
      span === null
        ? text.silentBesideOthers(name, counted, tenthsText(share))
        : text.silentSinceBesideOthers(name, counted, span, tenthsText(share)),
    evidence: [
      ...lastCountEvidence(activity),
      { label: text.eventsSinceLabel(events), value: numberText(pairing.openMarks), at: null },
      { label: text.usualShareLabel, value: percentText(share), at: null },
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
    const pair = pairContext(settings, sensor, companion);
    if (pairing !== null && settings.sensors[companion] && isLearnt(pairing, pair)) return null;
  }
  if (!isSilentTooLong(activity.silence, settings.place, now)) return null;
  const probabilityOfRun = Math.exp(logSilenceProbability(activity.silence, settings.place, now));
  const { names, silentAlone, silentSinceAlone } = texts.sensorFaults;
  const [name, span] = [names[sensor], sinceText(activity.lastCountAt, now)];
  return {
    kind: faultKindBySensor[sensor],
    reason: span === null ? silentAlone(name) : silentSinceAlone(name, span),
    evidence: [...lastCountEvidence(activity), ...decreaseEvidence(activity)],
    confidence: probability(1 - probabilityOfRun),
  };
}

const sinceText = (lastAt: Instant | null, now: Instant): string | null =>
  lastAt === null ? null : spanText(between(lastAt, later(lastAt, now)));

const lastCountEvidence = ({ lastCountAt }: SensorActivity): Evidence[] =>
  lastCountAt === null
    ? []
    : [{ label: texts.sensorFaults.lastSignalLabel, value: texts.sensorFaults.lastSignal, at: lastCountAt }];

function decreaseEvidence({ decrease }: RunningTotal): Evidence[] {
  if (decrease === null) return [];
  const { counterFell, counterFellLabel } = texts.sensorFaults;
  return [{ label: counterFellLabel, value: counterFell(decrease.from, decrease.to), at: decrease.at }];
}

function tenthsText(share: number): string {
  const { nearlyAll, ofTen, ofHundred } = texts.sensorFaults.share;
  const tenths = Math.round(10 * share);
  if (tenths >= 10) return nearlyAll;
  return tenths >= 1 ? ofTen(tenths) : ofHundred(Math.max(1, Math.round(100 * share)));
}
