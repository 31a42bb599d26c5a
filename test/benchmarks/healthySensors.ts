import { after, days, hours, type Instant, instantOf, minutes } from "../../server/domain/instant.ts";
import type { FeederSettings } from "../../server/domain/settings.ts";
import {
  initialSensors,
  readingFaults,
  sensorFaults,
  updateSensorsByEvent,
  updateSensorsByReport,
} from "../../server/domain/silence/sensorFaults.ts";
import { celsius, humidityPercent, volts } from "../../server/domain/units.ts";
import { seededRandom } from "../../server/practice/random.ts";
import { type BirdHabits, simulateBirds } from "../domain/silence/birds.ts";
import { emptyReadings, larchSettings } from "../domain/silence/larch.ts";
import { ordinaryHabits } from "../domain/silence/silenceRun.ts";

// All that is found of sensors and readings over healthy years, on calm and on busy yards, by what is fitted: each new
// finding is false. Run by hand: npx tsx test/benchmarks/healthySensors.ts [seeds]

const seeds = Number(process.argv[2] ?? 6);
const start = instantOf("2026-02-01T00:00:00Z");
const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const everyReport = minutes(10);

const yards: Record<string, BirdHabits> = {
  calm: { ...ordinaryHabits, boutEvery: hours(2), stormyDays: 0.05 },
  busy: { ...ordinaryHabits, boutEvery: minutes(12), visitsInBout: 6, stormyDays: 0.05 },
};
const none = { button: false, detector: false, perch: false, chute: false, scale: false };
const fittings: Record<string, FeederSettings["sensors"]> = {
  all: { ...none, button: true, detector: true, perch: true },
  button: { ...none, button: true },
  perchAndButton: { ...none, button: true, perch: true },
};

for (const [yardName, habits] of Object.entries(yards)) {
  for (const [fittingName, sensors] of Object.entries(fittings)) {
    const settings = { ...larchSettings, sensors };
    const found: Record<string, number> = {};
    for (let seed = 1; seed <= seeds; seed++) {
      for (const kind of healthyYear(seed, habits, settings)) found[kind] = (found[kind] ?? 0) + 1;
    }
    const total = Object.values(found).reduce((sum, count) => sum + count, 0);
    console.log(
      `${yardName} ${fittingName}: ${(total / seeds).toFixed(2)} false a feeder-year ${JSON.stringify(found)}`,
    );
  }
}

function healthyYear(seed: number, habits: BirdHabits, settings: FeederSettings): string[] {
  const random = seededRandom(1_000 + seed);
  let state = initialSensors(start);
  const found: string[] = [];
  let standing: readonly string[] = [];
  const counts = { button: 0, detector: 0, chute: null, perch: 0 };
  let weather = 3;
  let reportAt: Instant = start;
  const look = (now: Instant) => {
    const faults = [...sensorFaults(state, settings, now, false), ...readingFaults(state, settings, now)];
    const kinds = faults.map(({ kind }) => kind);
    for (const kind of kinds) if (!standing.includes(kind)) found.push(kind);
    standing = kinds;
  };
  const report = () => {
    reportAt = after(reportAt, everyReport);
    weather += 0.004 * (5 - weather) + random.normal(0, 0.15);
    const season = -10 * Math.cos(((reportAt - start) / days(365)) * 2 * Math.PI);
    const air = weather + season + 3 * Math.sin((reportAt / days(1)) * 2 * Math.PI - 2);
    const readings = {
      ...emptyReadings,
      air: celsius(Math.round(air * 16) / 16),
      inside: celsius(Math.round((air + 1) * 2) / 2),
      lid: celsius(Math.round((air - 1) * 10) / 10),
      humidity: humidityPercent(Math.min(100, Math.max(20, Math.round(95 - 2 * weather + random.normal(0, 2))))),
      battery: volts(
        Math.round((12.6 + 0.2 * Math.sin((reportAt / days(1)) * 2 * Math.PI) + random.normal(0, 0.01)) * 100) / 100,
      ),
      counts: { ...counts },
    };
    const setAside = random.isTrueWith(0.002) ? ["lidCelsius"] : []; // a long wire's glitch now and then
    state = updateSensorsByReport(state, { readings, rejectedReadings: setAside, boot: "b" }, reportAt, settings);
    look(reportAt);
  };
  const { sensors } = settings;
  for (const event of simulateBirds(seededRandom(seed), place, habits, start, after(start, days(365)))) {
    while (after(reportAt, everyReport) < event.recordedAt) report();
    if (event.kind === "press" && sensors.button) counts.button++;
    else if (event.kind === "deposit" && sensors.detector) counts.detector++;
    else if (event.kind === "visit" && sensors.perch) counts.perch++;
    else continue;
    state = updateSensorsByEvent(state, event, settings);
    look(event.recordedAt);
  }
  return found;
}
