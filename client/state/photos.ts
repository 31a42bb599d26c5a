import { unreachableText } from "#text/common.ts";
import { signedOutText } from "#text/field.ts";
import { photoTooLargeText } from "#text/notesScreen.ts";
import type { NotesView, NoteView } from "../../server/contract/trainingView.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { updateConnectionState } from "./home.ts";
import { shrinkPicture } from "./shrinkPicture.ts";
import { countSending } from "./unsaved.ts";

export interface SentPhotos {
  readonly view: NotesView | null; // after the last one that was added; null: none was
  readonly added: number;
  readonly problem: string | null; // why the rest was not
}

/**
 * Adds photographs to a note, one after the other, and stops at the first that fails.
 * @param onLeft told before each how many are left
 */
export async function sendPhotos(
  yard: string,
  note: string,
  files: readonly Blob[],
  onLeft: (left: number) => void,
): Promise<SentPhotos> {
  let view: NotesView | null = null;
  for (const [added, file] of files.entries()) {
    onLeft(files.length - added);
    const small = await shrinkPicture(file);
    if (small === null) return { view, added, problem: photoTooLargeText };
    const result = await countSending(() => laterApi.addPhoto(yard, note, small));
    updateConnectionState(result);
    if (result.kind !== "ok") return { view, added, problem: problemOf(result) };
    view = result.value;
  }
  return { view, added: files.length, problem: null };
}

function problemOf(result: Exclude<ApiResult<unknown>, { readonly kind: "ok" }>): string {
  if (result.kind === "unreachable") return unreachableText;
  return result.kind === "signedOut" ? signedOutText : result.problem.detail;
}

/** The note as it is after a change: of the newest notes, or, where it is older than these, asked for. */
export async function changedNote(yard: string, note: NoteView, newest: NotesView): Promise<NoteView> {
  const isIt = ({ id }: NoteView) => id === note.id;
  const found = newest.notes.find(isIt);
  if (found !== undefined) return found;
  const result = await laterApi.notes(yard, { at: new Date(Date.parse(note.at) + 1).toISOString() });
  updateConnectionState(result);
  return (result.kind === "ok" && result.value.notes.find(isIt)) || note;
}
