export const title = (feeder: string) => `Bench run of ${feeder}`;
export const notFoundTitle = "Bench run";
export const introText = (feeder: string) =>
  `Before ${feeder} goes outdoors: it gives portions, you drop caps and press its button, and then it runs for hours by itself. At the end you see whether it is ready, and why not.`;
export const neverRunText = "There was no bench run yet.";

export const cautionsTitle = "First of all";
/** Links: the safety information. */
export const cautions = [
  "Indoors or under a roof, on a table, where no bird comes. Keep fingers out of tray and hopper: the motor starts by itself.",
  "Caps have sharp edges: wear gloves.",
  "Leave mains work to a qualified electrician. Never charge a battery below 0 °C.",
  "[Safety information]",
] as const;
export const quietAlarmsText =
  "During the run, alarms about food, motor and sensors are suppressed. Alarms about power, cold and missing reports still ring.";

export const startTitle = "Start a bench run";
export const againTitle = "Repeat it, after a repair";
export const quietLabel = "Hands off at first";
export const quietHint = "Shows false counts, and how steady the load cell is.";
export const minutesUnit = "minutes";
export const portionsLabel = "Portions";
export const portionsHint =
  "Sixty show that fewer than one in twenty is empty. It takes about eight minutes and 60 portions of food.";
export const portionsUnit = "portions";
export const capsLabel = "Caps that you drop";
export const capsUnit = "caps";
export const pressesLabel = "Presses of the button";
export const pressesUnit = "presses";
export const actsHint = "Thirty show that fewer than one in ten is missed. 0: leave it out.";
export const knownGramsLabel = "A known mass for the load cell";
export const knownGramsHint = "Such as an unopened packet of 500 g. Empty: leave it out.";
export const gramsUnit = "g";
export const soakLabel = "Soak";
export const soakHint = "It runs by itself so long, such as over a night. Less than 4 hours show too little.";
export const hoursUnit = "hours";
export const startLabel = "Start";
export const startedText = "The bench run has started.";

export const stepsTitle = "Steps";
export const stepNames = {
  quiet: "Hands off",
  portions: "Portions",
  weigh: "Weigh the food",
  caps: "Caps",
  presses: "Presses",
  knownMass: "Known mass",
  soak: "Soak",
  settle: "Last reports",
} as const;
export const stepStatus = { done: "done", now: "now", next: "to come" } as const;

export const nowHeadings = {
  quiet: () => "Touch nothing.",
  portions: () => "The motor runs. Keep your fingers out.",
  weigh: () => "Weigh all the food that fell.",
  caps: (count: number) => `Drop ${count} caps, one by one.`,
  presses: (count: number) => `Press the button ${count} times.`,
  knownMass: (grams: number) => `Put ${grams} g on the hopper.`,
  soak: () => "Leave it alone.",
  settle: () => "Wait a moment.",
} as const;
export const nowTexts = {
  quiet: (until: string) => `Until ${until}. Whatever it counts now is false.`,
  portions: () => "Put a cup under the chute, and let it catch everything. The motor rests between the portions.",
  weigh: () => "Leave empty what you have not weighed or counted.",
  caps: () => "After each, wait for the food. Press “Done” after the last one.",
  presses: () => "After each, wait for the food. Press “Done” after the last one.",
  knownMass: () => "Wait ten seconds with nothing on it. Then put it on, wait ten seconds more, and press “Done”.",
  soak: (until: string) => `Until ${until}. You can close this page: the run goes on.`,
  settle: () => "The last reports come in.",
} as const;
export const waitingText = (feeder: string) =>
  `${feeder} has not begun yet. It gets the order with its next report, or at once over its live link.`;
export const countText = (seen: number, of: number) => `${seen} of ${of} counted`;
export const portionCountText = (seen: number, of: number) => `${seen} of ${of} given`;
export const portionsEndedText = (problem: string) => `The portions have ended early. ${problem}`;
export const totalLabel = "All portions together";
export const emptyLabel = "Portions that gave nothing";
export const emptyHint = "Only if you watched each of them.";
export const doneLabel = "Done";
export const stopLabel = "Stop the run";
export const stopQuestion = "Stop the run? What has not been tried stays unknown.";
export const stopYesLabel = "Stop it";
export const stopNoLabel = "Go on";
export const stoppedText = "The bench run has stopped.";

export const resultTitle = "Result";
export const figuresTitle = "Figures";
export const soFarTitle = "Figures so far";
export const metaText = (start: string, by: string) => `Started ${start} by ${by}.`;
export const dateText = (date: string, time: string) => `${date} ${time}`;
export const reasonText = (label: string, value: string, reason: string) => `${label}: ${value}. ${reason}`;
export const figureStatus = {
  met: "met",
  notMet: "not met",
  notKnown: "not known",
  notFitted: "not fitted",
  noted: "noted",
} as const;
export const limitText = (limit: string) => `Limit: ${limit}`;
export const beforeText = (value: string, status: string) => `The run before: ${value} (${status})`;
export const limitsText =
  "The limits are Pieward's own choice. Intervals are of 95 %: Student's t for grams, Wilson's for shares, three in n where none was seen, Garwood's for rates.";
export const printLabel = "Print";
export const earlierTitle = "Earlier runs";
export const earlierText = (date: string, verdict: string) => `${date}: ${verdict}`;

export const usePortionText = (grams: string) =>
  `This run gave ${grams} g a portion. The settings have another weight.`;
export const usePortionUnsetText = (grams: string) => `This run gave ${grams} g a portion. The settings have none yet.`;
export const usePortionLabel = (grams: string) => `Use ${grams} g a portion`;
export const portionUsedText = (grams: string) =>
  `A portion now weighs ${grams} g, for the food level and the feeding plan.`;
export const portionSameText = "The settings have this weight of a portion already.";
