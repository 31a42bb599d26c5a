import type { Report } from "./report.ts";
import type { FeederSettings, FittedSensors } from "./settings.ts";

/**
 * A keeper who has just added a feeder may not have said which sensors it has; what speaks is there. Noticing only ever adds,
 * and ends when the keeper changes the sensors: who unticks a scale that lies means it.
 */
export function withDetectedSensors(settings: FeederSettings, report: Report): FeederSettings {
  if (settings.detectsSensors !== true) return settings;
  const sensors = detectedSensors(settings.sensors, report);
  return sensors === settings.sensors ? settings : { ...settings, sensors };
}

function detectedSensors(known: FittedSensors, { readings, events }: Report): FittedSensors {
  let { button, detector, chute, perch, scale } = known;
  scale ||= readings.hopper !== null;
  for (const event of events) {
    switch (event.kind) {
      case "press":
        button = true;
        break;
      case "deposit":
        detector = true;
        break;
      case "visit":
        perch = true;
        break;
      case "portion":
        chute ||= event.chuteCount !== null;
        break;
      case "lid":
      case "refill":
      case "order":
      case "trouble":
      case "unknown":
        break;
    }
  }
  const same =
    button === known.button &&
    detector === known.detector &&
    chute === known.chute &&
    perch === known.perch &&
    scale === known.scale;
  return same ? known : { button, detector, chute, perch, scale };
}
