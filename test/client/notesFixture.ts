import type { NotesView, NoteView } from "../../server/contract/trainingView.ts";

const hourMs = 3_600_000;

export const noteFixture = (id: string, hoursAgo: number, different: Partial<NoteView> = {}): NoteView => ({
  ...{ id, by: "Ada", text: `note ${id}`, feeder: null, stage: null, changedAt: null },
  ...{ still: null, capsOnDish: null, photos: [] },
  at: new Date(Date.now() - hoursAgo * hourMs).toISOString(),
  ...different,
});

export const notesViewFixture = (notes: readonly NoteView[], more = false): NotesView => ({
  notes,
  more,
  pictureSpaceText: null,
});
