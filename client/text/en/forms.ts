/** Texts of several forms, none of them on the first page. */
export const yourPassphraseLabel = "Your passphrase";
export const deleteSummary = "Delete…";
export const chooseOption = "Choose…";

// What earns food, in a feeding plan and in a stage of a programme.
export const variableChoice = "Unpredictable";
export const jitterChoice = "Regular, give or take";
export const noFreeChoice = "No free food";
export const meanLabel = "On average every";
export const byLabel = "Give or take";
export const minutesUnit = "minutes";
export const pressTitle = "Press of the button";
export const depositTitle = "Cap in the slot";
export const eachChoice = "Each one";
export const fixedChoice = "Every so many";
export const variableRatioChoice = "Every so many on average";
export const nothingChoice = "Nothing";
export const ofLabel = "How many";
export const betweenLabel = "At least this long after the last paid one";
export const secondsUnit = "seconds";
