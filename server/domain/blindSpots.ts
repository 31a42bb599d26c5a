import { texts } from "../text/index.ts";
import type { Readings } from "./report.ts";
import type { FeederSettings, FittedSensors } from "./settings.ts";

/**
 * What can't be detected or distinguished with the sensors of this feeder: each in a sentence for the keeper, the most important
 * first. Empty where nothing is missing. `readings`: those of its last report, null before the first; a reading that isn't
 * reported counts as missing.
 */
export function blindSpots(settings: FeederSettings, readings: Readings | null): readonly string[] {
  return [
    ...(settings.detectsSensors === true && readings !== null ? [texts.blindSpots.unknownSensors] : []),
    ...foodBlindSpots(settings.sensors),
    ...birdBlindSpots(settings.sensors),
    ...(settings.place === null ? [texts.blindSpots.noPlace] : []),
    ...(readings === null ? [] : coldBlindSpots(settings, readings)),
  ];
}

function foodBlindSpots({ chute, scale }: FittedSensors): readonly string[] {
  if (scale && chute) return [];
  if (chute) {
    return [texts.blindSpots.noScale, texts.blindSpots.noScaleBlindChute];
  }
  if (scale) {
    return [texts.blindSpots.noChuteSlow, texts.blindSpots.noChuteStuckScale];
  }
  return [texts.blindSpots.noScaleNoChute, texts.blindSpots.noScale];
}

const birdSensors = ["button", "detector", "perch"] as const;

function birdBlindSpots(sensors: FittedSensors): readonly string[] {
  const fitted = birdSensors.filter((sensor) => sensors[sensor]);
  const [only] = fitted;
  if (only === undefined) {
    return [texts.blindSpots.noBirdSensor];
  }
  const payment = sensors.detector ? [] : [texts.blindSpots.noDetector];
  const single = fitted.length > 1 ? [] : [texts.blindSpots.oneBirdSensor(texts.sensors[only])];
  const visits = sensors.perch ? [] : [texts.blindSpots.noPerch];
  return [...payment, ...single, ...visits];
}

/** Each by the readings that its check in cold/ needs. */
function coldBlindSpots({ battery }: FeederSettings, readings: Readings): readonly string[] {
  const isLithium = battery === "lithiumIon" || battery === "lithiumIronPhosphate";
  return [
    ...(canDetectFrost(readings) ? [] : [texts.blindSpots.noFrostReadings]),
    ...(battery === "leadAcid" && !isBatteryMeasured(readings, readings.battery)
      ? [texts.blindSpots.noBatteryReadings]
      : []),
    ...(isLithium && !isBatteryMeasured(readings, readings.charge) ? [texts.blindSpots.noChargingReadings] : []),
  ];
}

const canDetectFrost = ({ humidity, air, inside, lid }: Readings): boolean =>
  humidity !== null && (inside !== null || (lid !== null && air !== null));

const isBatteryMeasured = ({ batteryTemperature, inside }: Readings, reading: number | null): boolean =>
  reading !== null && (batteryTemperature ?? inside) !== null;
