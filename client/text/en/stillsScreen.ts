export const title = "Pictures";
export const introText = (days: number) =>
  `What the feeders' cameras sent. A picture is kept for ${days} days, with a star for good.`;
export const notOnPhoneText = "The list of pictures is not saved on this phone, and there is no connection.";
export const asOfText = (time: string) => `Pictures from ${time}. Without a connection they may not show.`;
export const noStillsText = "No feeder has sent a picture yet.";
export const olderLabel = "Show older pictures";
export const notLoadedText = "The older pictures could not be loaded. Try again.";

export const stillName = (time: string, feeder: string) => `Still at ${time}, ${feeder}`;
export const depositName = (time: string, feeder: string) => `Still of the deposit at ${time}, ${feeder}`;
export const noEventText = "no event";
export const unknownEventText = "no event known yet";
export const eventText: Readonly<Record<string, string>> = {
  deposit: "deposit",
  press: "press",
  visit: "visit",
  portion: "portion",
  lid: "lid",
  refill: "refill",
};
export const otherEventText = "another event";
export const paymentText = {
  paid: "paid",
  unpaid: "not paid",
  earnsNothing: "earned nothing",
} as const;

export const starLabel = "Star";
export const starOfText = (name: string) => `: ${name}`;
export const starredText = "The picture is kept for good.";
export const unstarredText = "The picture is kept as long as the others.";
export const addNoteLabel = "Add a note";
export const labelSummary = "Label…";
export const whoLabel = "Who is in it";
export const broughtLabel = "What was brought";
export const saveLabel = "Save labels";
export const labelledText = "The labels are saved.";
export const deleteQuestion = "The picture can't be brought back.";
export const deleteLabel = "Delete this picture";
export const deletedText = "The picture is deleted.";

export const countsTitle = "What the labels say";
export const countsHint =
  "Only pictures with a label count, and which ones you label changes the shares. Who is in a picture is your own judgement.";
export const labelledOfText = (labelled: number, total: number) => `${labelled} of ${total} pictures have this label.`;
export const shareOfText = (stills: number, share: string, low: string, high: string) =>
  `${stills}: ${share}, likely ${low} to ${high}`;
export const linkText = "Pictures of the feeders' cameras";
