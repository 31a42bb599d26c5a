import { signal } from "@preact/signals";
import type { NotesView } from "../../server/contract/trainingView.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { type LocalStore, openLocalStore } from "../offline/localStore.ts";
import { serverNow } from "./clock.ts";
import { updateConnectionState } from "./home.ts";

/** The newest notes by yard, as last loaded. The phone stores them, so that they can be read without a connection. */
interface StoredNotes {
  readonly view: NotesView;
  readonly asOf: number;
}
export const notes = signal<ReadonlyMap<string, StoredNotes>>(new Map());
export const notesError = signal<string | null>(null);

const notesKey = "notes";
const storedYardsMax = 5;
let store: LocalStore | null = null;
/** Opened with its screen, not with the first page, which should stay small. */
let opening: Promise<void> | null = null;

export function openNotes(opened: LocalStore): Promise<void> {
  opening = readStored(opened);
  return opening;
}

async function readStored(opened: LocalStore): Promise<void> {
  store = opened;
  const remembered = await opened.get<readonly (readonly [string, StoredNotes])[]>(notesKey);
  if (remembered !== undefined) notes.value = new Map([...remembered, ...notes.value]);
}

export async function loadNotes(yard: string): Promise<ApiResult<NotesView>> {
  opening ??= openLocalStore().then(readStored);
  await opening;
  const result = await laterApi.notes(yard, null);
  updateConnectionState(result);
  notesError.value = result.kind === "problem" ? result.problem.detail : null;
  if (result.kind === "ok") keepNotes(yard, result.value);
  return result;
}

/** Takes the newest notes as the server has just answered them. */
export function keepNotes(yard: string, view: NotesView): void {
  const rest = [...notes.value].filter(([known]) => known !== yard);
  const latest = [...rest, [yard, { view, asOf: serverNow() }] as const].slice(-storedYardsMax);
  notes.value = new Map(latest);
  store?.put(notesKey, latest).catch((cause: unknown) => console.warn("The notes could not be stored.", cause));
}
