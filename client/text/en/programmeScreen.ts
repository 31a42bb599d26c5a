/** Texts of the screen on which a yard's programme is edited. */
export const title = "Programme";
export const pageTitle = (yard: string) => `Programme of ${yard}`;
export const trainingLink = "Training";

export const stagesTitle = "Stages";
export const stagesHint =
  "The birds go through them in this order. Edits count from now on; food that feeders give changes when a stage is started.";
export const presentTag = "present stage";
export const stageSummary = (number: number, name: string) => `${number}. ${name}`;
export const moveUpLabel = (stage: string) => `Move up ${stage}`;
export const moveDownLabel = (stage: string) => `Move down ${stage}`;
export const removeLabel = (stage: string) => `Remove ${stage}`;
export const upLabel = "Move up";
export const downLabel = "Move down";
export const removeShortLabel = "Remove";
export const addLabel = "Add a stage";
export const readyLabel = "Ready stages again";
export const readyText = "The ready stages are in the form. Save them to use them.";
export const movedText = (stage: string, number: number) => `${stage} is now number ${number}.`;
export const removedText = (stage: string) => `${stage} removed from the form.`;
export const addedText = "A stage was added at the end of the form.";
export const newStageName = "New stage";
export const presentStaysHint = "The present stage can't be removed: start another one first.";

export const nameLabel = "Name";
export const kindLabel = "The birds' part";
export const kindHint = "It says what counts as the act: a visit to free food, a press, or a cap in the slot.";
export const earnsTitle = "What earns a portion";
export const freeLabel = "Free food";
export const shapedTitle = "What is shaped";
export const criterionTitle = "Ready for the next stage";
export const shareLabel = "Share of bouts with the act";
export const chanceLabel = "By chance it would be";
export const chanceHint = "What birds do that have not learnt it.";
export const actsLabel = "Acts a day, at least";
export const daysLabel = "On so many days";
export const stepBackLabel = "Go back below";
export const usualFromLabel = "Usual time, from";
export const usualToLabel = "Usual time, to";
export const percentUnit = "%";
export const daysUnit = "days";
export const actsUnit = "acts";
export const percentAtLeastText = (percent: string) => `must be at least ${percent} %`;
export const percentAtMostText = (percent: string) => `must be at most ${percent} %`;

export const keptMinLabel = "Least share of promises paid";
export const keptMinHint = "Below it, the advice is to mend the feeder before the training goes on.";
export const savedText = "Programme saved.";
export const unchangedText = "Nothing was changed.";

export const changesTitle = "Dated changes";
export const noChangesText = "No change yet.";
export const changeBy = (moment: string, person: string) => `${moment}, ${person}`;
export const effectText = (before: string, after: string, points: string, low: string, high: string) =>
  `Before ${before} of the bouts, after ${after}: a difference of ${points} points, 95 % sure between ${low} and ${high}. Other things may have changed too.`;
export const undoneText = (moment: string, person: string) => `Undone ${moment} by ${person}.`;
export const undoLabel = "Undo";
export const undoSummary = (change: string) => `Undo “${change}”`;
export const undoHint =
  "The record is then read as if it had not been made. If it started a stage, feeding plans go back to what they were, unless they were changed since.";
export const undidText = "Undone.";
export const moreChangesLabel = (count: number) => (count === 1 ? "1 older" : `${count} older`);
