import type { ImportedRecordView } from "../../../server/contract/api.ts";

export const summary = "Import a record";
export const introText =
  "A record that was downloaded from this or another server: the one file, or a file of JSON lines. It is added to this yard: programme, notes, pictures, and events as a feeder of their own, which notifies nobody. What is here already stays as it is.";
export const lostText =
  "What can't come back: readings and reports between events, alarms and pauses. Shares of judged time and causes of broken promises may differ from then.";
export const fileLabel = "File";
export const importLabel = "Import";
export const sendingLabel = "Importing…";
export const addedText = "Record imported.";

const counted = (count: number, one: string, more: string) => `${count} ${count === 1 ? one : more}`;

export const doneText = (of: ImportedRecordView) => {
  const added = [
    counted(of.changes, "change of the programme", "changes of the programme"),
    counted(of.events, "event", "events"),
    counted(of.notes, "note", "notes"),
    counted(of.photos, "photograph", "photographs"),
    counted(of.stills, "picture of a camera", "pictures of cameras"),
  ].join(", ");
  const left = [
    ...(of.picturesLeftOut === 0
      ? []
      : [`${counted(of.picturesLeftOut, "picture", "pictures")} could not be read, or there is no space.`]),
    ...(of.eventsLeftOut === 0
      ? []
      : [`${counted(of.eventsLeftOut, "event", "events")} of this yard's own feeders were left out.`]),
  ];
  return [`Added: ${added}.`, ...left].join(" ");
};
