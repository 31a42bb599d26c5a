export const title = "A whole programme";
export const introText =
  "See what the training pages are for: a practice yard of its own lives eight weeks of training in about three minutes, with simulated birds, broken promises and bad weather. A practice keeper follows the advice. Nobody is notified.";
export const startLabel = "Live a whole programme";
export const stopLabel = "Stop";
export const againLabel = "Start again from the beginning";
export const removeLabel = "Delete this yard";
export const trainingLabel = "Its training";
export const programmeLabel = "Its programme";
export const notesLabel = "Its notebook";
