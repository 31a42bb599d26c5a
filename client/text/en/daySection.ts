export const previousDayLabel = "Previous day";
export const nextDayLabel = "Next day";
export const notStoredText = "This day is not saved on this phone, and there is no connection.";
export const loadingText = "Loading the day…";
export const dataTimeText = (time: string) => `Data from ${time}.`;
/** Links: the yard's settings. */
export const noLocationText = "To show night and twilight, enter the yard's location. [Enter location]";
export const allDaysLabel = "All days";

export const detailsSummary = "Day details";
export const visitsName = "Visits";
export const pressesName = "Presses";
export const depositsName = "Deposits";
export const portionsName = "Portions";
export const foodName = "Food given";
export const foodUnknownText = "not known: portion weight not entered";
export const eventsLabel = "All events, by time";
export const timeColumn = "Time";
export const eventColumn = "Event";
export const detailColumn = "Detail";
