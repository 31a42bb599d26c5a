export const title = (feeder: string) => `Feeding plan of ${feeder}`;
export const notFoundTitle = "Feeding plan";

export const noPlanText = (feeder: string) =>
  `No plan yet: ${feeder} feeds as its own program says. With a plan, the feeder gives free food at irregular times and pays presses and caps by your rules, also without a network.`;
export const stillFollowedText = (feeder: string) =>
  `The plan is removed, but ${feeder} still follows it. It hears of this with the answer to its next report.`;
export const removeLabel = "Remove the plan";
export const removedText = "Feeding plan removed.";
export const removeHint = "Without a plan, the feeder feeds as its own program says.";
export const followedText = (feeder: string, ago: string) => `${feeder} follows this plan, as reported ${ago}.`;
export const otherVersionText = (feeder: string) =>
  `${feeder} still follows an earlier plan. It gets this one with the answer to its next report.`;
export const unconfirmedText = (feeder: string) =>
  `${feeder} has not confirmed a plan. Until it does, it feeds as its own program says. If this stays so, its program may not know plans: see the feeder's README.`;
export const neverReportedText = (feeder: string) =>
  `${feeder} has not reported yet. It gets the plan with its first report.`;
export const enterPlaceLabel = "Enter the location";

export const daysTitle = "The next days";
export const previewTitle = "With these rules";
export const timesLabel = "Times";
export const dayTimesText = (times: string, portions: number, grams: string) =>
  times === ""
    ? "no free food"
    : `${times}: ${portions === 1 ? "one portion" : `${portions} portions`} each time, about ${grams}`;
export const rationText = (portions: number) => `at most ${portions} portions in all`;
export const frostText = (times: string) => `in hard frost also ${times}`;
export const polarNightText = "the sun stays too low all day";
export const polarDayText = "the sun never sets; birds rest at night all the same";
export const stretchedText = (minutes: string) =>
  `The ration allows free food only about every ${minutes} minutes, so the waits are that long.`;
export const chartText = (day: string, count: number, first: string, last: string) =>
  count === 0
    ? `${day}: no free food`
    : `${day}: free food ${count === 1 ? "once" : `${count} times`}, from ${first} to ${last}`;

export const rulesTitle = "Rules";
export const freeTitle = "Free food";
export const freeHint = "It brings birds to the feeder. At times that they can't predict, they keep looking.";
export const scheduleLabel = "Times";
export const eachLabel = "Each time";
export const gramsUnit = "g";
export const afterDawnLabel = "Starts after dawn";
export const beforeDuskLabel = "Ends before dusk";

export const earnsLabel = "A portion for";

export const limitsTitle = "Limits";
export const rationLabel = "Ration a day";
export const rationHint =
  "Free and earned food together. A supplement, never the whole meal: at most 10 to 20 % of what the birds need (common practice). For one crow-sized bird, 3 to 5 g.";
export const overRationLabel = "Pay caps beyond the ration";
export const overRationHint = "A cap without its food can undo weeks of training.";
export const frostLabel = "Free food in hard frost";
export const frostHint = "Given whatever the ration says. Needs a thermometer for the air.";
export const belowLabel = "Below";
export const celsiusUnit = "°C";
export const frostGramsLabel = "At least, by day";
export const quietTitle = "Quiet times";
export const quietHint = "No free food then. Presses and caps are paid all the same.";
export const fromLabel = (index: number) => `From (${index})`;
export const toLabel = (index: number) => `To (${index})`;

export const previewLabel = "Preview";
export const savedText = "Feeding plan saved.";
/** Links: the cautions. */
export const cautionText =
  "Feeding wild birds may need a permit, and may be forbidden during outbreaks: follow your local authority. [Safety information]";
