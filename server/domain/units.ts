/**
 * Quantities carry their unit as a type, from the boundary inwards, so that grams can't be added to volts.
 * Where types can't follow (JSON, SQL, environment) the unit stands in the name instead.
 */
declare const unit: unique symbol;
export type Quantity<Unit extends string> = number & { readonly [unit]: Unit };

export type Grams = Quantity<"Grams">;
export type Celsius = Quantity<"Celsius">;
export type Volts = Quantity<"Volts">;
export type Milliamps = Quantity<"Milliamps">;
/** Relative humidity over liquid water, 0..100, also below 0 °C: what capacitive sensors report. */
export type HumidityPercent = Quantity<"HumidityPercent">;
export type Probability = Quantity<"Probability">;

export const grams = (mass: number): Grams => finite(mass, "grams") as Grams;
export const celsius = (temperature: number): Celsius => finite(temperature, "degrees Celsius") as Celsius;
export const volts = (voltage: number): Volts => finite(voltage, "volts") as Volts;
export const milliamps = (current: number): Milliamps => finite(current, "milliamps") as Milliamps;
export const humidityPercent = (share: number): HumidityPercent =>
  within(share, 0, 100, "percent relative humidity") as HumidityPercent;
export const probability = (value: number): Probability => within(value, 0, 1, "probability") as Probability;

/** @throws RangeError where a number is not finite: such a value inside is a bug; from outside it is refused at the boundary. */
function finite(value: number, quantity: string): number {
  if (!Number.isFinite(value)) throw new RangeError(`expected a finite number of ${quantity}, got ${value}`);
  return value + 0; // a thermometer may report -0, which JSON does not store
}

function within(value: number, low: number, high: number, quantity: string): number {
  if (!(value >= low && value <= high)) {
    throw new RangeError(`expected a ${quantity} from ${low} to ${high}, got ${value}`);
  }
  return value;
}
