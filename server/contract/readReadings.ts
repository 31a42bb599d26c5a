import type { Readings } from "../domain/report.ts";
import { celsius, grams, humidityPercent, milliamps, volts } from "../domain/units.ts";
import { problemWithValue, valueText } from "./fieldProblem.ts";
import { isTooDeep, tooDeep } from "./nesting.ts";
import { areCommonReadings, isObject, type PostedReadings } from "./quickCheck.ts";
import { type Refusal, readingsSchema } from "./report.ts";
import { unknownReadings } from "./unknownNames.ts";
import { withUnit } from "./withUnit.ts";

export interface ReadReadings {
  readonly readings: Readings;
  readonly rejectedReadings: readonly string[];
  readonly refused: readonly Refusal[];
  readonly posted: unknown; // for the log: read again, it gives the same
  readonly unknownNames: readonly string[];
}

export function readReadings(posted: unknown): ReadReadings {
  if (posted === null || posted === undefined) return noReadings({});
  if (isObject(posted) && areCommonReadings(posted)) return acceptedReadings(posted, posted, []);
  return readReadingsBySchema(posted);
}

/** @param posted neither null nor undefined */
export function readReadingsBySchema(posted: unknown): ReadReadings {
  const wrong = isObject(posted) ? null : `must be an object, got ${valueText(posted)}`;
  if (wrong !== null || isTooDeep(posted)) {
    const refused = [{ seq: null, field: "readings", problem: wrong ?? tooDeep }];
    return {
      ...noReadings(wrong === null ? tooDeep : shortenedValue(posted)),
      rejectedReadings: ["readings"],
      refused,
    };
  }
  const request = posted as Record<string, unknown>;
  const unknown = unknownReadings(request);
  const whole = readingsSchema.safeParse(request);
  if (whole.success) return acceptedReadings(posted, whole.data, unknown);

  const { issues } = whole.error;
  const rejected = [...new Set(issues.map(({ path }) => path.join(".")))];
  return {
    readings: readingsWithUnits(readingsSchema.parse(withoutNames(request, rejected))),
    rejectedReadings: rejected,
    refused: issues.map((issue) => ({ seq: null, ...problemWithValue(issue, request, "readings") })),
    posted,
    unknownNames: unknown,
  };
}

const acceptedReadings = (
  posted: unknown,
  readings: PostedReadings,
  unknownNames: readonly string[],
): ReadReadings => ({
  readings: readingsWithUnits(readings),
  rejectedReadings: [],
  refused: [],
  posted,
  unknownNames,
});

const noReadings = (posted: unknown): ReadReadings => acceptedReadings(posted, {}, []);

/** A value that is no object either, and small enough for the log. */
const shortenedValue = (posted: unknown): unknown => (typeof posted === "object" ? [] : String(posted).slice(0, 40));

/** @param names such as `airCelsius` and `counts.button`. */
function withoutNames(request: Record<string, unknown>, names: readonly string[]): Record<string, unknown> {
  const rest = { ...request };
  for (const name of names) {
    const [outer = "", inner] = name.split(".");
    if (inner === undefined) delete rest[outer];
    else if (isObject(rest[outer])) rest[outer] = withoutNames(rest[outer] as Record<string, unknown>, [inner]);
  }
  return rest;
}

function readingsWithUnits(posted: PostedReadings): Readings {
  return {
    hopper: withUnit(posted.hopperGrams, grams),
    air: withUnit(posted.airCelsius, celsius),
    inside: withUnit(posted.insideCelsius, celsius),
    lid: withUnit(posted.lidCelsius, celsius),
    // Such sensors are some percent off at the wet end, so that a little over 100 means 100.
    humidity: withUnit(posted.humidityPercent, (share) => humidityPercent(Math.min(100, share))),
    supply: withUnit(posted.supplyVolts, volts),
    battery: withUnit(posted.batteryVolts, volts),
    batteryTemperature: withUnit(posted.batteryCelsius, celsius),
    charge: withUnit(posted.chargeMilliamps, milliamps),
    signalDbm: posted.signalDbm ?? null,
    spooled: posted.spooled ?? null,
    counts: sensorCounts(posted.counts),
    paused: posted.paused ?? null,
    planVersion: posted.planVersion ?? null,
  };
}

function sensorCounts(posted: PostedReadings["counts"]): Readings["counts"] {
  const { button, detector, chute, perch } = posted ?? {};
  return { button: button ?? null, detector: detector ?? null, chute: chute ?? null, perch: perch ?? null };
}
