export const title = "Notebook";
export const notOnPhoneText = "The notebook is not saved on this phone, and there is no connection.";
export const asOfText = (time: string) => `Notes from ${time}.`;
export const noNotesText = "Nothing written yet.";
export const olderLabel = "Show older notes";
export const notLoadedText = "The older notes could not be loaded. Try again.";

export const writeTitle = "Write a note";
export const textLabel = "Note";
export const capsLabel = "Caps on the dish";
export const capsHint = "How many lay there instead of in the slot. Leave it empty where you didn't count.";
export const capsNoteText = "Caps counted.";
export const capsText = (caps: number) => `caps on the dish: ${caps}`;
export const whenLabel = "When";
export const whenHint = "Leave it empty for now.";
export const feederLabel = "About";
export const wholeYardOption = "The whole yard";
export const writtenText = "The note is saved.";

export const byText = (time: string, by: string) => `${time}, ${by}`;
export const changedText = (time: string) => `changed ${time}`;
export const editLabel = "Edit";
export const editNoteText = (time: string) => ` the note of ${time}`;
export const changedNoteText = "The note is changed.";
export const deleteQuestion = "The note can't be brought back.";
export const deleteLabel = "Delete this note";
export const deletedText = "The note is deleted.";

export const aboutStillText = "About this picture:";
export const withoutStillLabel = "Write without the picture";
export const whenStillHint = "Leave it empty for the moment of the picture.";
export const aboutEventText = (event: string, when: string) => `About: ${event} (${when}).`;
export const withoutEventLabel = "Write without the event";
export const whenEventHint = "Leave it empty for the moment of the event.";
export const eventText = "Written at an event of the feeder.";
export const stillGoneText = "The picture that this note was written at is no longer kept.";

export const addPhotosLabel = "Add photographs";
export const photosHint = "They are made smaller, and nothing in them says where they were taken.";
export const sendingPhotosText = (left: number) =>
  left === 1 ? "Sending a photograph…" : `Sending ${left} photographs…`;
export const photoAddedText = (count: number) =>
  count === 1 ? "The photograph is added." : `${count} photographs are added.`;
export const photoTooLargeText = "This photograph is too large: at most 8 MiB.";
export const photoName = (nth: number, of: number, time: string) => `Photograph ${nth} of ${of}, ${time}`;
export const deletePhotoLabel = (nth: number) => `Delete photograph ${nth}`;
export const photoDeletedText = "The photograph is deleted.";
export const photosNotSentText = (problem: string) => `Not all photographs were added. ${problem}`;
export const deletePhotosSummary = "Delete photographs…";
export const addPhotosSummary = "Add photographs…";
export const addPhotosToLabel = (time: string) => `Add photographs to the note of ${time}`;
