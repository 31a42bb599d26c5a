export const addFeederLabel = "Add a feeder";
/** Links: add a yard. */
export const noYardText = "You have no yard. [Add one], or ask a keeper for an invitation.";
/** Links: add a feeder, practice. */
export const noFeedersText = "No feeders yet. [Add one], or try a [practice feeder].";
/** Links: practice. */
export const noFeedersHelperText = "No feeders yet. Try a [practice feeder].";
export const yardSettingsLabel = "Yard settings";
