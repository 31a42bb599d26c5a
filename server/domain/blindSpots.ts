import type { Readings } from "./report.ts";
import type { FeederSettings, FittedSensors } from "./settings.ts";

/**
 * What can't be detected or distinguished with the sensors of this feeder: each in a sentence for the keeper, the most important
 * first. Empty where nothing is missing. `readings`: those of its last report, null before the first; a reading that isn't
 * reported counts as missing.
 */
export function blindSpots(settings: FeederSettings, readings: Readings | null): readonly string[] {
  return [
    ...(settings.detectsSensors === true && readings !== null ? [unknownSensorsText] : []),
    ...foodBlindSpots(settings.sensors),
    ...birdBlindSpots(settings.sensors),
    ...(settings.place === null ? [placeBlindSpot] : []),
    ...(readings === null ? [] : coldBlindSpots(settings, readings)),
  ];
}

const unknownSensorsText = "Sensors not entered. Only those that have reported are used.";

function foodBlindSpots({ chute, scale }: FittedSensors): readonly string[] {
  if (scale && chute) return [];
  if (chute) {
    return [
      "Without a scale, food that is left is counted from portions and from the refills you enter.",
      "Without a scale, a blind chute sensor looks like a jam.",
    ];
  }
  if (scale) {
    return [
      "Without a chute sensor it takes the scale some portions to notice that nothing falls.",
      "Without a chute sensor, a stuck scale looks like a jam.",
    ];
  }
  return [
    "Without a scale or chute sensor, Pieward can't detect whether food falls. A jam is not detected while the motor turns.",
    "Without a scale, food that is left is counted from portions and from the refills you enter.",
  ];
}

const birdSensorNames = { button: "button", detector: "metal detector", perch: "perch" } as const;
const birdSensors = Object.keys(birdSensorNames) as readonly (keyof typeof birdSensorNames)[];

function birdBlindSpots(sensors: FittedSensors): readonly string[] {
  const fitted = birdSensors.filter((sensor) => sensors[sensor]);
  const [only] = fitted;
  if (only === undefined) {
    return ["Without a button, a metal detector or a perch, visits are not detected."];
  }
  const payment = sensors.detector ? [] : ["Without a metal detector, deposits without a portion are not detected."];
  const single =
    fitted.length > 1
      ? []
      : [
          `Only the ${birdSensorNames[only]} detects birds. When it gives no signal, a dead sensor looks like birds that stay away for a long time.`,
        ];
  const visits = sensors.perch ? [] : ["Without a perch, visits without a press or deposit are not counted."];
  return [...payment, ...single, ...visits];
}

const placeBlindSpot =
  "Until the yard has a place, its night and day are unknown: a quiet night counts like a quiet morning, and a silent sensor is noticed later.";

/** Each by the readings that its check in cold/ needs. */
function coldBlindSpots({ battery }: FeederSettings, readings: Readings): readonly string[] {
  const isLithium = battery === "lithiumIon" || battery === "lithiumIronPhosphate";
  return [
    ...(canDetectFrost(readings)
      ? []
      : ["Its last report has no humidity with a box or lid temperature. Frost is detected late or not at all."]),
    ...(battery === "leadAcid" && !isBatteryMeasured(readings, readings.battery)
      ? ["Its last report has no battery voltage with a temperature. A freezing battery is not detected."]
      : []),
    ...(isLithium && !isBatteryMeasured(readings, readings.charge)
      ? ["Its last report has no charging current with a temperature. Charging in frost is not detected."]
      : []),
  ];
}

const canDetectFrost = ({ humidity, air, inside, lid }: Readings): boolean =>
  humidity !== null && (inside !== null || (lid !== null && air !== null));

const isBatteryMeasured = ({ batteryTemperature, inside }: Readings, reading: number | null): boolean =>
  reading !== null && (batteryTemperature ?? inside) !== null;
