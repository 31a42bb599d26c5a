export const pauseHourLabel = "Pause for 1 hour";
export const resumeFeedingLabel = "Resume feeding";
export const cancelPauseLabel = "Cancel the pause";
export const taperLabel = "To end feeding: taper off over two weeks";
export const progressLabel = "Progress of the order";
export const notReachedText = ": not yet";

/** Actions, as they are listed until they are sent. */
export const pauseHourAction = "pause for 1 hour";
export const resumeAction = "resume feeding";
