import type { Readings } from "./report.ts";
import type { FeederSettings, FittedSensors } from "./settings.ts";

/**
 * What can't be known about this feeder, or not be told apart, with what is fitted: each in a sentence for the keeper, what
 * matters most first. Empty where nothing is missing. `readings`: those of its last report, null before the first; what a
 * feeder doesn't tell is as unknown as what it doesn't have.
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

const unknownSensorsText =
  "Nobody has said which sensors are fitted: those that have reported so far are taken to be all there are.";

function foodBlindSpots({ chute, scale }: FittedSensors): readonly string[] {
  if (scale && chute) return [];
  if (chute) {
    return [
      "Without a scale, food that is left is counted from portions and from the refills you tell of.",
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
    "With neither a scale nor a chute sensor nobody sees whether food falls: a jam or bridged food goes unnoticed as long as the motor turns.",
    "Without a scale, food that is left is counted from portions and from the refills you tell of.",
  ];
}

const birdSensorNames = { button: "button", detector: "metal detector", perch: "perch" } as const;
const birdSensors = Object.keys(birdSensorNames) as readonly (keyof typeof birdSensorNames)[];

function birdBlindSpots(sensors: FittedSensors): readonly string[] {
  const fitted = birdSensors.filter((sensor) => sensors[sensor]);
  const [only] = fitted;
  if (only === undefined) {
    return [
      "Without a button, a metal detector or a perch no bird is noticed: who comes, and who stays away, is unknown.",
    ];
  }
  const payment = sensors.detector
    ? []
    : ["Without a metal detector no deposit is noticed, so one that went unpaid can't be told."];
  const single =
    fitted.length > 1
      ? []
      : [
          `Only the ${birdSensorNames[only]} notices birds. When it falls silent, a dead sensor looks like birds that stay away for a long time.`,
        ];
  const visits = sensors.perch ? [] : ["Without a perch, a bird that comes and does nothing goes unseen."];
  return [...payment, ...single, ...visits];
}

const placeBlindSpot =
  "Until the yard has a place, its night and day are unknown: a quiet night counts like a quiet morning, and a silent sensor is noticed later.";

/** Each by what its finder needs (cold/): without it, it keeps quiet. */
function coldBlindSpots({ battery }: FeederSettings, readings: Readings): readonly string[] {
  const { humidity, air, inside, lid, batteryTemperature, charge } = readings;
  const spots: string[] = [];
  if (humidity === null || (inside === null && (lid === null || air === null))) {
    spots.push(
      "Its last report told no humidity together with a temperature of inside or lid: frost is noticed late or not at all.",
    );
  }
  const cells = batteryTemperature ?? inside;
  if (battery === "leadAcid" && (cells === null || readings.battery === null)) {
    spots.push(
      "Its last report told no battery voltage together with a temperature: a freezing battery goes unnoticed.",
    );
  }
  const isLithium = battery === "lithiumIon" || battery === "lithiumIronPhosphate";
  if (isLithium && (cells === null || charge === null)) {
    spots.push(
      "Its last report told no charging current together with a temperature: charging in frost goes unnoticed.",
    );
  }
  return spots;
}
