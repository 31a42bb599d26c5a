export const title = "Bird disease";
export const hint =
  "When an authority reports bird flu or another bird disease near you, or asks to stop feeding: stop. This pauses every feeder of the yard, new ones too, and nobody can resume one by mistake. Don't touch sick or dead birds; report them to the authority.";
export const stopSummary = "Stop feeding because of a disease…";
export const stopExplanation = (yard: string) =>
  `Every feeder of ${yard} is paused until you lift the notice and resume it.`;
export const stopLabel = "Stop feeding at this yard";
export const stoppedText = (yard: string) =>
  `The notice is in force at ${yard}. Each feeder shows when it has confirmed its pause.`;
export const inForceText = (since: string, by: string) =>
  `Bird-disease notice in force since ${since}, set by ${by}: every feeder of this yard must stay paused. Until one confirms its pause, assume that it is feeding.`;
export const settingsLink = "Yard settings";
export const liftHint =
  "Lift it only when the authority allows feeding again. Nothing is fed until you resume each feeder. Clean and disinfect them before.";
export const liftLabel = "Lift the notice";
export const liftedText = "The notice is lifted. The feeders are still paused: resume each one when it is clean.";
export const staysPausedText = "It stays paused while the bird-disease notice is in force.";
