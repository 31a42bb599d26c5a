/** The days of a feeder as pictures. */
export const title = "Days";
export const pageTitle = (feeder: string) => `Days of ${feeder}`;
/** Links: home. */
export const noFeederText = "Here stands what your feeders have seen. Add one [on the first page].";
export const feedersLabel = "Feeders";
export const spanLabel = "Span";
export const spanNames = { 14: "2 weeks", 42: "6 weeks", 182: "half a year", 365: "a year" } as const;
export const yesterdayTitle = "Yesterday";
export const yesterdayText = (parts: string) => `${parts}.`;
export const nothingKnownText = "Nothing is known of it: no report came.";
export const visitsText = (count: number) => `${count} ${count === 1 ? "visit" : "visits"}`;
export const pressesText = (count: number) => `${count} ${count === 1 ? "press" : "presses"}`;
export const depositsText = (paid: number, unpaid: number) =>
  `${paid} ${paid === 1 ? "cap" : "caps"} paid${unpaid === 0 ? "" : `, ${unpaid} not paid`}`;
export const givenText = (grams: string) => `${grams} given`;
export const ribbonLink = "Yesterday, hour by hour";
export const digestLink = "Digest";
export const allDaysLink = "Day by day";
export const alarmsLink = "Alarms by month";
export const offlineText = "These pictures need a connection.";
export const damagedText = (count: number) => `${count} stored sums can't be read; the counts may be too small.`;
export const dayLabel = "Day";
export const hourLabel = "Hour";
export const hourColumn = "Hour";
export const notKnown = "not known";
export const runningText = "so far";

export const actNames = { visits: "Visits", presses: "Presses", deposits: "Deposits" } as const;
export const hoursTitle = (acts: string) => `${acts} by hour`;
export const hoursSentence = (most: string | null) =>
  most === null
    ? "The last seven days, over the seven before."
    : `Most come from ${most}. The last seven days, over the seven before.`;
export const hourRangeText = (hour: number) => `${hour} to ${hour + 1} h`;
export const hoursReading = (hour: string, week: number, before: number) =>
  `${hour}: ${week}, the week before ${before}`;
export const thisWeekName = "last seven days";
export const weekBeforeName = "the seven before";
export const nightName = "night";

export const depositsTitle = "Deposits by day";
export const depositsSentence = (paid: number, unpaid: number) =>
  unpaid === 0 ? `${paid} were paid, none was left unpaid.` : `${paid} were paid, ${unpaid} were not.`;
export const depositsReading = (day: string, paid: number, unpaid: number) =>
  `${day}: ${paid} paid, ${unpaid} not paid`;
export const pressesTitle = "Presses by day";
export const pressesSentence = (count: number) => `${count} presses in all.`;
export const pressesReading = (day: string, count: number) => `${day}: ${count}`;
export const paidName = "paid";
export const unpaidName = "not paid";
export const countName = "presses";
export const meanName = "mean of seven days";
export const meanColumn = "Mean of 7 days";

export const hopperTitle = "Food in the hopper";
export const hopperSentence = (text: string) => `Now: ${text}.`;
export const hopperReading = (day: string, grams: string, low: string, high: string) =>
  `${day}: ${grams}, between ${low} and ${high}`;
export const gramsColumn = "Grams";
export const lowColumn = "At least";
export const highColumn = "At most";
export const bandName = "where it lies with 90 %";
export const fanName = "empty: from the earliest to the latest likely moment";

export const temperatureTitle = "Air temperature";
export const temperatureSentence = (least: string, most: string) => `Between ${least} and ${most}.`;
export const temperatureReading = (day: string, least: string, mean: string, most: string) =>
  `${day}: ${least} to ${most}, mean ${mean}`;
export const degreesText = (celsius: string) => `${celsius} °C`;
export const freezingName = "0 °C: water freezes";
export const rangeName = "least to most";
export const meanLineName = "mean";
export const leastColumn = "Least";
export const meanOfDayColumn = "Mean";
export const mostColumn = "Most";

export const batteryTitle = "Battery";
export const batterySentence = (least: string) => `It never fell below ${least}.`;
export const batteryReading = (day: string, least: string, most: string) => `${day}: ${least} to ${most}`;
export const voltsText = (volts: string) => `${volts} V`;
