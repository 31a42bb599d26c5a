/** Texts of the figures of a yard's training record. */
export const latencyText = (seconds: string) => `${seconds} s`;
export const longLatencyText = (minutes: string) => `${minutes} min`;

export const siteText =
  "All of these are figures of the site, not of single birds: no sensor tells one bird from another.";

export const bargainTitle = "The bargain";
export const bargainText = "An act earns food. What was promised on the last days of this stage, and what was paid:";
export const addNoteLabel = "Add a note";
export const byStageTitle = "Promises paid by stage";
export const byStageText = "Of the last six weeks.";
export const keptName = "Promises paid";
export const keptValue = (paid: number, promised: number, share: string) => `${paid} of ${promised}, ${share}`;
export const nothingPromisedValue = "nothing promised yet";
export const keptLimitsName = "True share, 95 % sure";
export const betweenValue = (low: string, high: string) => `${low} to ${high}`;
export const keptMinName = "Least share you asked for";
export const medianName = "From act to food, half of them within";
export const mostName = "95 of 100 within";
export const worstName = "The slowest";
export const capsName = "Caps on the dish, not in the slot";
export const capsValue = (total: string, days: readonly string[]) => `${total} (${days.join("; ")})`;
export const capsOfDayText = (day: string, caps: number) => `${day}: ${caps}`;
export const delayText = (wait: string, low: string, high: string) =>
  `A portion after ${wait} may be worth only ${low} to ${high} of one at once. That range is from studies of other species (quoted from memory); nothing is known for free-living corvids at a feeder.`;

export const brokenTitle = "Broken promises";
export const noneBrokenText = "None in these weeks.";
export const actNames = { press: "press of the button", deposit: "cap in the slot" } as const;
export const outcomeNames = {
  empty: "the motor ran, but no food was seen to fall",
  cutShort: "its portion was begun and not ended",
  noPortion: "no portion was given",
} as const;
export const brokenText = (moment: string, feeder: string, act: string, outcome: string) =>
  `${moment}, ${feeder}: ${act}; ${outcome}.`;
export const causeText = (alarm: string) => `Alarm at that time: ${alarm}.`;
export const noCauseText = "Nothing that was reported explains it.";
export const moreBrokenLabel = (count: number) => (count === 1 ? "1 more" : `${count} more`);

export const contingencyTitle = "Does food depend on the act?";
export const contingencyText = (bin: string) =>
  `ΔP is the chance of food in a ${bin} with an act, less the chance in one without: 1 means only the act brings food, 0 that it makes no difference. It depends on the length of time chosen, here ${bin}. Free food lowers it.`;
export const binText = (seconds: string) => `span of ${seconds} s`;
export const deltaPName = "ΔP";
export const unknownValue = "not known";
export const freeName = "Free portions in this stage";
export const unexplainedName = "Portions that no act explains";
export const rejectedName = "Deposits not taken for a cap";

export const judgedTitle = "How this was judged";
export const judgedText = (decides: string) =>
  `The evidence says how many times better the days are explained by the one than by the other. ${decides} decides, and it may be read each day.`;
export const daysInStageName = "Whole days in this stage";
export const judgedDaysName = "Days that count";
export const boutsName = "Bouts on these days";
export const recentName = (days: number) => `Share on the last ${days}`;
export const recentValue = (successes: number, trials: number, share: string) => `${successes} of ${trials}, ${share}`;
export const wilsonName = "95 % interval (Wilson)";
export const betaName = "95 % interval (Bayes)";
export const intervalsHint =
  "The intervals hold what birds do, not only what was seen: up to 15 of 100 visits may have been wind or small birds.";
export const aboveChanceName = "Evidence that it is more than chance";
export const belowCriterionName = "Evidence that it is below the criterion";
export const declineName = "Acts of the last days against those before";
export const timesValue = (times: string) => `${times} times`;
export const leastActsName = "Least acts on one of these days";
