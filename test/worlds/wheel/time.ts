/** Times within this world are milliseconds since 1970, spans are milliseconds. */
export const second = 1_000;
export const minute = 60_000;
export const hour = 3_600_000;
export const day = 86_400_000;

/** 0..24 by the mean sun of this longitude: birds and keepers follow the sun, whatever the clock's summer time. */
export function solarHour(at: number, longitudeDegrees: number): number {
  const hours = (at / hour + longitudeDegrees / 15) % 24;
  return hours < 0 ? hours + 24 : hours;
}

/** Days since the last 1 January, with fractions; a year as 365.2425 days, which is close enough for seasons. */
export const dayOfYear = (at: number): number => (at / day) % 365.2425;
