import { oneIn } from "../chanceWords.ts";
import type { Evidence, Fault } from "../faults.ts";
import { between, type Instant, later } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { probability } from "../units.ts";
import { bideTooLong, logBide } from "./daylightSilence.ts";
import { isLearnt, logSilence, type Pairing, tooLong } from "./pairing.ts";
import { scaleIsImpossible } from "./readingFaults.ts";
import { scaleSilence } from "./scaleSilence.ts";
import { type SensorsState, type Tally, type Watched, type Witness, witnesses } from "./sensorActivity.ts";
import { inWords } from "./spanWords.ts";

export { readingFaults } from "./readingFaults.ts";
export { counted, type SensorsState, sensed, unwatchedSensors } from "./sensorActivity.ts";

/** What is silent now though it shouldn't be. `paused`: what birds do at a paused feeder proves nothing. */
export function sensorFaults(sensors: SensorsState, settings: FeederSettings, now: Instant, paused: boolean): Fault[] {
  if (paused) return [];
  const faults: Fault[] = [];
  for (const sensor of witnesses) {
    if (!settings.sensors[sensor]) continue;
    const fault = silentBesideOthers(sensors, sensor, settings, now) ?? silentAlone(sensors, sensor, settings, now);
    if (fault) faults.push(fault);
  }
  const { scale: watched, held } = sensors;
  const scale = settings.sensors.scale ? scaleSilence(watched, held.hopper, scaleIsImpossible(sensors)) : null;
  if (scale) faults.push(scale);
  return faults;
}

const faultOf = { button: "buttonSilent", detector: "detectorSilent", perch: "perchSilent" } as const;
const nameOf = { button: "button", detector: "detector", perch: "perch sensor" } as const;
const markOf = { button: "presses", detector: "deposits", perch: "landings" } as const;
const marksOf = (companion: Witness, sensor: Witness): string =>
  companion === sensor ? "things that fell into its slot" : markOf[companion];

function silentBesideOthers(
  sensors: SensorsState,
  sensor: Witness,
  settings: FeederSettings,
  now: Instant,
): Fault | null {
  const watched = sensors[sensor];
  let found: { companion: Witness; pairing: Pairing; logChance: number } | null = null;
  for (const companion of witnesses) {
    const pairing = watched.beside[companion];
    if (pairing === null || !settings.sensors[companion] || !tooLong(pairing, now, settings)) continue;
    const logChance = logSilence(pairing, settings);
    if (found === null || logChance < found.logChance) found = { companion, pairing, logChance };
  }
  if (found === null) return null;
  const { pairing, companion } = found;
  const chance = Math.exp(found.logChance);
  const share = pairing.hits / (pairing.hits + pairing.misses);
  return {
    kind: faultOf[sensor],
    reason:
      `The ${nameOf[sensor]} has said nothing during the last ${pairing.open} ${marksOf(companion, sensor)}` +
      `${since(watched.lastAt, now)}. It used to answer ${inTen(share)}.`,
    evidence: [
      ...lastSpoke(watched),
      { what: `${marksOf(companion, sensor)} since`, value: String(pairing.open), at: null },
      { what: "share answered before", value: `${Math.round(100 * share)} %`, at: null },
      { what: "chance of such a run if it works", value: oneIn(chance), at: now },
      ...ranBackwards(watched),
    ],
    sure: probability(1 - chance),
  };
}

/** Only for a sensor that no companion could speak for: beside others, "all silent" means that no bird came. */
function silentAlone(sensors: SensorsState, sensor: Witness, settings: FeederSettings, now: Instant): Fault | null {
  const watched = sensors[sensor];
  for (const companion of witnesses) {
    const pairing = watched.beside[companion];
    if (pairing !== null && settings.sensors[companion] && isLearnt(pairing)) return null;
  }
  if (!bideTooLong(watched.alone, settings.place, now)) return null;
  const chance = Math.exp(logBide(watched.alone, settings.place, now));
  return {
    kind: faultOf[sensor],
    reason:
      `The ${nameOf[sensor]} has said nothing${since(watched.lastAt, now)}, far longer than it ever does in daylight. ` +
      "No other sensor can tell whether birds came.",
    evidence: [
      ...lastSpoke(watched),
      { what: "chance of such a silence if it works", value: oneIn(chance), at: now },
      ...ranBackwards(watched),
    ],
    sure: probability(1 - chance),
  };
}

const since = (lastAt: Instant | null, now: Instant) =>
  lastAt === null ? "" : ` (in ${inWords(between(lastAt, later(lastAt, now)))})`;

const lastSpoke = ({ lastAt }: Watched): Evidence[] =>
  lastAt === null ? [] : [{ what: "last spoke", value: "a count", at: lastAt }];

const ranBackwards = ({ backwards }: Tally): Evidence[] =>
  backwards === null
    ? []
    : [{ what: "its total ran backwards", value: `${backwards.from} to ${backwards.to}`, at: backwards.at }];

function inTen(share: number): string {
  const tenths = Math.round(10 * share);
  if (tenths >= 10) return "nearly every one";
  return tenths >= 1 ? `about ${tenths} in 10` : `about ${Math.max(1, Math.round(100 * share))} in 100`;
}
