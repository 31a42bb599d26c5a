import { after, days, hours, type Instant, instantOf, minutes } from "../../server/domain/instant.ts";
import { initialSensors, sensorFaults, updateSensorsByEvent } from "../../server/domain/silence/sensorFaults.ts";
import { civilDaylightHours } from "../../server/domain/sun.ts";
import { seededRandom } from "../../server/practice/random.ts";
import { type BirdHabits, simulateBirds } from "../domain/silence/birds.ts";
import { larchSettings } from "../domain/silence/larch.ts";
import { ordinaryHabits } from "../domain/silence/silenceRun.ts";

// How often a button that stands alone is called silent for nothing in a year, and after how many days when it is dead, on
// yards that are used all day or mornings only. Run by hand: npx tsx test/benchmarks/loneSensor.ts [seeds]

const seeds = Number(process.argv[2] ?? 10);
const start = instantOf("2026-03-01T00:00:00Z");
const settings = {
  ...larchSettings,
  sensors: { button: true, detector: false, perch: false, chute: false, scale: false },
};
const place = larchSettings.place ?? { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const allDay: BirdHabits = { ...ordinaryHabits, boutEvery: minutes(45), learners: 0.9, stormyDays: 0.05 };
const yards: Record<string, { habits: BirdHabits; mornings: boolean; placed: boolean }> = {
  allDay: { habits: allDay, mornings: false, placed: true },
  sparse: { habits: { ...allDay, boutEvery: hours(4) }, mornings: false, placed: true },
  mornings: { habits: allDay, mornings: true, placed: true },
  unplaced: { habits: allDay, mornings: false, placed: false },
};

for (const [name, { habits, mornings, placed }] of Object.entries(yards)) {
  let cried = 0;
  const waits: number[] = [];
  const mine = { ...settings, place: placed ? place : null };
  const isMorning = (at: Instant) => {
    const noon = Math.floor(at / days(1)) * days(1) + hours(11);
    return at < noon && civilDaylightHours(place, after(at, hours(-3)), at) < 3;
  };
  for (let seed = 1; seed <= seeds; seed++) {
    let sensors = initialSensors(start);
    let stands = false;
    let at: number = start;
    const look = (to: number, count: boolean) => {
      for (; at < to; at += hours(1)) {
        const found = sensorFaults(sensors, mine, at as Instant, false).length > 0;
        if (found && !stands && count) cried++;
        stands = found;
        if (found && !count) return;
      }
    };
    const end = after(start, days(365 + 11 * seed)); // so that deaths fall into all seasons
    for (const event of simulateBirds(seededRandom(seed), place, habits, start, end)) {
      if (event.kind !== "press" || (mornings && !isMorning(event.recordedAt))) continue;
      look(event.recordedAt, true);
      sensors = updateSensorsByEvent(sensors, event, mine);
    }
    const died = at;
    stands = false;
    look(at + days(40), false);
    waits.push((at - died) / days(1));
  }
  waits.sort((a, b) => a - b);
  console.log(
    `${name.padEnd(9)} false a year ${(cried / seeds / 1.15).toFixed(2)}, found after ${waits[seeds >> 1]?.toFixed(1)} days (${waits[0]?.toFixed(1)} to ${waits.at(-1)?.toFixed(1)})`,
  );
}
