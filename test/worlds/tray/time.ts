/** Times are milliseconds since 1970, spans milliseconds. The yard keeps one clock all year. */
export const second = 1_000;
export const minute = 60 * second;
export const hour = 60 * minute;
export const day = 24 * hour;

export const place = { latitudeDegrees: -34.9, longitudeDegrees: 140.3 } as const;
export const zone = "Etc/GMT-9"; // POSIX's sign: nine hours ahead of UTC
const ahead = 9 * hour;

export const localDay = (at: number): number => Math.floor((at + ahead) / day);
export const localMidnight = (ofDay: number): number => ofDay * day - ahead;
export const localHour = (at: number): number => ((at + ahead) % day) / hour;
const yearDays = 365.2425;
/** 0 at the begin of January to 1 at its end. */
export const yearShare = (ofDay: number): number => (ofDay % yearDays) / yearDays;
/** 1 in the heat of mid-January, -1 in mid-July. */
export const summer = (ofDay: number): number => Math.cos(2 * Math.PI * (yearShare(ofDay) - 0.045));
