import type { FeederEvent, Report } from "./report.ts";
import type { FeederSettings, FittedSensors } from "./settings.ts";

/**
 * A keeper who has just added a feeder may not have entered its sensors: a sensor that reports is there. Detection only adds
 * sensors, and ends when the keeper changes them, for example removes a broken scale.
 */
export function withDetectedSensors(settings: FeederSettings, report: Report): FeederSettings {
  if (settings.detectsSensors !== true) return settings;
  const sensors = detectedSensors(settings.sensors, report);
  return sensors === settings.sensors ? settings : { ...settings, sensors };
}

function detectedSensors(known: FittedSensors, { readings, events }: Report): FittedSensors {
  const detected = { ...known };
  if (readings.hopper !== null) detected.scale = true;
  for (const event of events) {
    const sensor = sensorOfEvent(event);
    if (sensor !== null) detected[sensor] = true;
  }
  const isSame = sensorNames.every((sensor) => detected[sensor] === known[sensor]);
  return isSame ? known : detected;
}

const sensorNames = ["button", "detector", "chute", "perch", "scale"] as const;

function sensorOfEvent(event: FeederEvent): keyof FittedSensors | null {
  switch (event.kind) {
    case "press":
      return "button";
    case "deposit":
      return "detector";
    case "visit":
      return "perch";
    case "portion":
      return event.chuteCount === null ? null : "chute";
    case "lid":
    case "refill":
    case "order":
    case "trouble":
    case "unknown":
      return null;
  }
}
