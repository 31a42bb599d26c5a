import { after, days, hours, instantOf, minutes, seconds } from "../../server/domain/instant.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import { initialSensors, sensorFaults, updateSensorsByEvent } from "../../server/domain/silence/sensorFaults.ts";
import { seededRandom } from "../../server/practice/random.ts";
import { type BirdHabits, simulateBirds } from "../domain/silence/birds.ts";
import { larchSettings } from "../domain/silence/larch.ts";
import { ordinaryHabits, runSilence } from "../domain/silence/silenceRun.ts";

// How often a sensor is called silent for nothing, and after how many landings when it is dead, on seeded yards, beside the
// optimum where birds are independent. Run by hand: npx tsx test/benchmarks/silentSensors.ts [seeds]

const seeds = Number(process.argv[2] ?? 20);
const start = instantOf("2026-03-01T00:00:00Z");
const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const flocks: BirdHabits = { ...ordinaryHabits, visitsInBout: 40, visitEvery: seconds(20), learners: 0.4 };
const alone: BirdHabits = {
  ...ordinaryHabits,
  boutEvery: minutes(10),
  visitsInBout: 1,
  learners: 1,
  presses: 0.4,
  hammers: 0,
  stormyDays: 0.05,
};
const quiet: BirdHabits = { ...ordinaryHabits, boutEvery: hours(2) };

for (const [name, habits] of Object.entries({ ordinary: ordinaryHabits, flocks, alone, quiet })) {
  let early = 0;
  let first = 0;
  let later = 0;
  for (let seed = 1; seed <= seeds; seed++) {
    const { found } = runSilence({ seed, habits, from: start, length: days(60) });
    for (const { at } of found) {
      if (at - start < days(4)) early++;
      else if (at - start < days(14)) first++;
      else later++;
    }
  }
  const a = (count: number) => (count / seeds).toFixed(2);
  console.log(`${name.padEnd(9)} false in days 0-4 ${a(early)}, 4-14 ${a(first)}, 14-60 ${a(later)} a feeder`);
}

/** Landings from a button's death to its finding, over the exact run at the same false-alarm rate. */
const settings: FeederSettings = { ...larchSettings, sensors: { ...larchSettings.sensors, detector: false } };
for (const presses of [0.2, 0.4, 0.7]) {
  const habits = { ...alone, presses, deposits: 0 };
  for (const history of [7, 30, 90]) {
    let ratio = 0;
    for (let seed = 1; seed <= seeds; seed++) {
      let sensors = initialSensors(start);
      const end = after(start, days(history));
      let runs = 0;
      for (const event of simulateBirds(seededRandom(seed), place, habits, start, end)) {
        sensors = updateSensorsByEvent(sensors, event, settings);
        if (event.kind === "press") runs++;
      }
      const optimum = Math.log((6 * runs * 365) / history) / -Math.log(1 - presses);
      let landings = 0;
      for (const event of simulateBirds(seededRandom(seed + 500), place, habits, end, after(end, days(60)))) {
        if (event.kind !== "visit") continue;
        landings++;
        sensors = updateSensorsByEvent(sensors, event, settings);
        if (sensorFaults(sensors, settings, event.recordedAt, false).length > 0) break;
      }
      ratio += landings / optimum;
    }
    console.log(`pressed on ${presses}, known for ${history} days: ${(ratio / seeds).toFixed(2)} x the exact run`);
  }
}
