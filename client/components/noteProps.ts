import type { YardView } from "../../server/contract/api.ts";
import type { NotesView, NoteView } from "../../server/contract/trainingView.ts";

/** What a change makes of the notebook: the newest notes, and this note as it is now; null: it is deleted. */
export type NoteChanged = (newest: NotesView, id: string, note: NoteView | null) => void;

export interface NoteProps {
  readonly note: NoteView;
  readonly yard: YardView;
  readonly changed: NoteChanged;
}
