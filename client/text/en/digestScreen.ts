export const notFoundTitle = "Daily digest";
export const title = (yard: string) => `Daily digest of ${yard}`;
export const settingsLabel = "Settings of the daily digest";
export const notOnPhoneText = "This digest is not saved on this phone, and there is no connection.";
export const nextDigestText = (time: string) => `The next one comes at ${time}.`;
export const digestOffText = "It is off for this yard.";
export const summaryText = (day: string, summary: string) => `${day}: ${summary}`;
export const asOfMorningText = "This is the state of that morning.";
export const daysLabel = "Digests by day";

export const cleaningTitle = "Cleaning";
export const cleaningHint =
  "Once or twice a month, and when it looks dirty: old food out, wash, rinse, let it dry. If there is an official bird-flu warning, follow it first.";
export const notCleanedText = "no cleaning entered yet.";
export const lastCleanedText = (time: string) => `last ${time}.`;
export const cleanedLabel = "Mark as cleaned";
export const cleanedFeederLabel = (feeder: string) => `Mark ${feeder} as cleaned`;
/** Name of the action, for the list of what is not sent yet. */
export const cleanedAction = "cleaned";
