/** Said after a save, on the page that follows. */
export const savedText = "Saved.";
export const undoLabel = "Undo";
export const undoingText = "Undoing…";
export const undoneText = "Undone: it is as before.";
export const unreachableText = "Can't reach the server. It is still as you saved it.";
export const notUndoneText = (problem: string) => `Not undone. ${problem}`;
export const closeLabel = "Close";
