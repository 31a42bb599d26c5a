/** Texts of a yard's training: its stage, the advice, and what a keeper does about it. */
export const title = "Training";
export const pageTitle = (yard: string) => `Training of ${yard}`;
export const notOnPhoneText = "The training record is not saved on this phone, and there is no connection.";
export const asOfText = (time: string) => `Data from ${time}.`;
export const reportLink = "Season report";
export const reportLinkText = "each stage on a page, to print";
export const programmeLink = "Programme";
export const programmeLinkText = "stages, criterion, and the dated changes";

export const stageText = (number: number, count: number) => `Stage ${number} of ${count}`;
export const removedStageText = "A stage that is no longer in the programme";
export const sinceText = (day: string, days: number) => `Since ${day}: ${days === 1 ? "1 day" : `${days} days`}`;
export const usualDaysText = (from: number, to: number) => `${from} to ${to} days are usual`;
export const adviceTitle = "Advice";
export const wouldChangeTitle = "What would change this";
export const picturesTitle = "What the birds did";

export const introTitle = "No stage was started yet";
export const introText =
  "A programme is a row of stages from free food to caps that birds bring. In each stage an act earns food, and the record shows in how many of their visits the birds do it. When they do it often enough, you start the next stage. You decide; nothing is started by itself.";
export const noFeederText = "There is no feeder in this yard yet, so there is nothing to record. [Add one].";
export const noFeederHelperText = "There is no feeder in this yard yet, so there is nothing to record.";
/** Links: the feeder's plan. */
export const withoutPlanText = (feeder: string) =>
  `${feeder} has no feeding plan: it feeds as its own program says, and what a stage gives for doesn't reach it. [Make a plan].`;
export const unreadableText = (days: number) =>
  `${days === 1 ? "One day" : `${days} days`} could not be read from the log, wholly or in part, and ${days === 1 ? "is" : "are"} left out.`;
export const noDaysText = "The pictures begin with the first day of which a feeder reports.";

export const startLabel = (stage: string) => `Start ${stage}`;
export const startWithLabel = (stage: string) => `Start with ${stage}`;
export const goBackLabel = (stage: string) => `Go back to ${stage}`;
export const otherStageSummary = "Start another stage";
export const otherStageLabel = "Stage";
export const startedText = (stage: string) => `${stage} started.`;
export const changesPlansLabel = "Change the feeding plans too";
export const changesPlansHint =
  "Each feeder's plan takes over what this stage gives for, and its free food. Ration, food in hard frost and quiet times stay as they are.";
export const earnsTitle = "What it gives for";
export const pauseTitle = "Better pause this stage";
export const pauseText =
  "Caps that are not paid teach the birds that a cap is worth nothing. Pause the feeders until they pay again.";

export const reasonLabel = "Reason";
export const reasonHint = "It stands beside the change in the record.";
export const readyReasonsLabel = "Ready reasons";
export const startReasons = ["They do it at most visits", "The advice says so", "To begin with"] as const;
export const backReasons = ["They do it less and less", "Too much at once", "The advice says so"] as const;
export const shapingReasons = ["They do it with ease", "Too difficult for them", "Caps were taken", "Weather"] as const;
export const editReasons = ["To fit this garden", "After watching the birds", "A mistake before"] as const;
export const earlierSummary = "Done earlier?";
export const earlierHint = "Left empty, it counts from now on.";
export const dateLabel = "Date";
export const timeLabel = "Time";

export const shapingTitle = "What you shape now";
export const nothingShapedText = "Nothing is entered yet.";
export const shapingHint = "Change little at a time, and enter it: only then its effect can be read.";
export const distanceLabel = "Distance to the dish";
export const distanceHint = "Of the button, or of the caps laid out.";
export const capsLaidLabel = "Caps laid out";
export const capsWhereLabel = "Where";
export const slotOpeningLabel = "Slot opening";
export const gramsEachLabel = "Portion";
export const gramsEachHint = "Empty: as the feeder's settings have it.";
export const centimetresUnit = "cm";
export const millimetresUnit = "mm";
export const gramsUnit = "g";
export const capsUnit = "caps";
export const shapingSummary = "Change it";
export const shapedText = "Saved.";

export const cautionsTitle = "Before you go on";
export const noFreeFoodCaution =
  "This stage gives no free food. In hard frost only what each feeder's plan gives then is left: look that it is there.";
export const capCautions = [
  "Lay out only caps without sharp edges: crimped and rusty edges cut. Rinse out residues of alcohol. No glass, no lead.",
] as const;
export const foodCautions = [
  "In hard frost, birds must never have to work for all of their food: leave some free.",
  "In the nesting season, break whole peanuts. Only unsalted food; throw out what is wet or mouldy.",
] as const;
/** Links: the cautions. */
export const rulesCaution =
  "Local feeding rules and wildlife law come first; they may forbid feeding. [Safety information]";
