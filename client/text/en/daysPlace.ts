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
export const compareLink = "Compare weeks";
export const alarmsLink = "Alarms by month";
export const notOnPhoneText = "These pictures are not saved on this phone, and there is no connection.";
export const asOfText = (time: string) => `Data from ${time}.`;
export const notLoadedText = "It is not loaded yet.";
export const damagedText = (count: number) => `${count} stored sums can't be read; the counts may be too small.`;
export const dayLabel = "Day";
export const hourLabel = "Hour";
export const hourColumn = "Hour";
export const notKnown = "not known";
export const unknownDaysText = (count: number) =>
  count === 1 ? "One day is not known, and left out." : `${count} days are not known, and left out.`;
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
export const stageName = "a stage of the programme begins";
export const stageColumn = "Stage begins";
export const stageBeginsText = (stage: string) => `here begins “${stage}”`;
export const meanColumn = "Mean of 7 days";

export const hopperTitle = "Food in the hopper";
export const hopperSentence = (text: string) => `Now: ${text}.`;
export const hopperReading = (day: string, grams: string, low: string, high: string) =>
  `${day}: ${grams}, between ${low} and ${high}`;
export const gramsText = (grams: string) => `${grams} g`;
export const refillText = (grams: string) => `refilled with ${grams}`;
export const refillUnknownText = "refilled, amount not entered";
export const addedText = (grams: string) => `+${grams}`;
export const refillName = "refill, in grams";
export const refillColumn = "Refill";
export const gramsColumn = "Grams";
export const lowColumn = "At least";
export const highColumn = "At most";
export const bandName = "where it lies with 90 %";
export const fanName = "empty: from the earliest to the latest likely moment";

export const temperatureTitle = "Air temperature";
export const temperatureSentence = (least: string, most: string) => `Between ${least} and ${most}.`;
export const traySentence = (freezes: string, thaws: string) =>
  `Below ${freezes} water on the tray freezes, above ${thaws} it thaws.`;
export const batteryFreezesSentence = (celsius: string) =>
  `By its lowest voltage of the last day, the battery may freeze below ${celsius}.`;
export const batteryFreezesName = (celsius: string) => `${celsius}: the battery may freeze`;
export const frozenName = "water on the tray freezes";
export const doubtfulName = "it may freeze or thaw";
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
/** Where the settings have no kind of battery. */
export const noBatteryKindSentence =
  "The settings name no kind of battery, so what it allows in the cold is not known.";
export const lithiumSentence = (charge: string, discharge: string) =>
  `A lithium battery must not be charged below ${charge}, and not be used below ${discharge}.`;
export const noBoxTemperatureSentence = "No thermometer in the box shows when that was.";
export const tooColdName = (celsius: string) => `days with the box below ${celsius}: too cold to charge`;
export const tooColdText = "too cold to charge at times";
export const chargingColumn = "Charging";
export const leadAcidSentence =
  "The voltage shows the charge only at rest, before dawn: that is the lower edge. The bands are cautious.";
export const leadAcidUnknownSentence = "Which voltages mean full and empty is not known before its first reports.";
export const belowHalfName = (volts: string) => `below ${volts} at rest: less than half full`;
export const emptyName = (volts: string) => `below ${volts} at rest: empty`;
export const batteryReading = (day: string, least: string, most: string) => `${day}: ${least} to ${most}`;
export const voltsText = (volts: string) => `${volts} V`;
