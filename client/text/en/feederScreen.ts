export const loadingTitle = "Feeder";
export const notFoundTitle = "No such feeder";
export const removedText = "It may have been removed.";
export const noReportText = "No report yet.";
export const lastReportText = (ago: string) => `Last report ${ago}.`;

export const firstReportTitle = "Waiting for a first report";
export const firstReportText = (feeder: string) =>
  `Enter the key in ${feeder}'s program. Its days appear here after the first report.`;
/** Links: the feeder's settings. */
export const lostKeyText = "If the key is lost, [make a new one in the settings].";

export const suppressedTitle = (alarms: string) => `No notifications for now: ${alarms}`;
export const outOfServiceTitle = (alarms: string) => `Out of service: ${alarms}`;
export const enterLabel = "Enter it";

export const hopperTitle = "Hopper";
export const refillLabel = "Enter a refill";
export const waitForScaleText = "The level is known after the first scale reading.";
export const waitForRefillText = "Enter a refill to start counting.";
export const contentText = (fullness: string, food: string) => `${fullness} of ${food}.`;
export const contentWithoutCapacityText = (mass: string, food: string) =>
  `About ${mass} of ${food}. Enter the hopper's capacity in the settings to see how full it is.`;
export const unnamedFood = "food";

export const hopperDetailsTitle = "Hopper details";
export const levelName = "In the hopper";
export const levelValue = (mass: string) => `about ${mass}`;
export const intervalName = "Likely between";
export const intervalValue = (low: string, high: string) => `${low} and ${high}`;
export const capacityName = "Capacity";
export const assumedValue = (mass: string) => `${mass} (assumed)`;
export const emptyFirstName = "Possibly empty from";
export const emptyMedianName = "Probably empty by";
export const emptyLastName = "Very likely empty by";
export const tooFarAheadText = "too far ahead to say";
