import { instantOf, isoOf } from "../../server/domain/instant.ts";

/**
 * A healthy feeder's log of any length, a report a minute: food by day, readings of the scale that fall with it, a refill when food
 * runs low, and frost at night. With refills only below 400 g, "food low" is active for much of the time. Generated line by line, so
 * that a long log needs no memory. Invented: Alder Croft, feeder Rowan.
 */
export function* generateLongLog(reports: number, refillBelowGrams = 1_200): Generator<string> {
  const feeder = "rowan";
  const start = instantOf("2026-01-01T00:00:00Z");
  const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
  const sensors = { button: true, detector: true, chute: true, perch: true, scale: true };
  const settings = {
    name: "Rowan",
    zone: "Europe/Stockholm",
    place,
    sensors,
    hopperCapacityGrams: 2_000,
    portionGrams: 5,
  };
  yield JSON.stringify({ at: isoOf(start), feeder, settings });
  let [seq, hopperGrams] = [0, 1_800];
  const counts = { button: 0, detector: 0, chute: 0, perch: 0 };
  for (let minute = 1; minute <= reports; minute += 1) {
    const sentUptimeMs = minute * 60_000;
    const receivedAt = isoOf((start + sentUptimeMs) as typeof start);
    const hour = Math.floor(minute / 60) % 24;
    const events: object[] = [];
    if (hour >= 8 && hour < 16 && minute % 8 === 0) {
      const uptimeMs = sentUptimeMs - 30_000;
      events.push({ seq: seq + 1, uptimeMs, kind: "visit" });
      events.push({ seq: seq + 2, uptimeMs: uptimeMs + 4_000, kind: "press" });
      const motor = { motorMs: 900, meanMilliamps: 240, peakMilliamps: 610, chuteCount: 3 };
      events.push({
        seq: seq + 3,
        uptimeMs: uptimeMs + 5_000,
        kind: "portion",
        cause: "press",
        paysFor: seq + 2,
        ...motor,
      });
      seq += 3;
      hopperGrams -= 5;
      counts.button += 1;
      counts.perch += 1;
      counts.chute += 3;
    }
    if (hopperGrams < refillBelowGrams && hour === 17) {
      yield JSON.stringify({ at: receivedAt, feeder, keeper: { refill: { grams: 600 } } });
      hopperGrams += 600;
    }
    const warmth = -4 * Math.cos((2 * Math.PI * minute) / 1_440);
    const readings = {
      hopperGrams: hopperGrams + (minute % 3) - 1,
      airCelsius: Math.round(warmth * 10) / 10,
      insideCelsius: Math.round((warmth + 3) * 10) / 10,
      humidityPercent: 70,
      signalDbm: -60 - (minute % 5),
      spooled: 0,
      counts,
      paused: false,
    };
    yield JSON.stringify({ receivedAt, feeder, report: { boot: "b-1", sentUptimeMs, readings, events } });
  }
}
