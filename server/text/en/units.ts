/** The number comes formatted. */
export const units = {
  celsius: (number: string) => `${number} °C`,
  grams: (number: string) => `${number} g`,
  kilograms: (number: string) => `${number} kg`,
  milliamps: (number: string) => `${number} mA`,
  percent: (number: string) => `${number} %`,
  range: (low: string, high: string) => `${low} to ${high}`,
  volts: (number: string) => `${number} V`,
};
