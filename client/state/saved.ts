import { signal } from "@preact/signals";
import type { ApiResult } from "../api/api.ts";
import { announce } from "./announcement.ts";
import { updateConnectionState } from "./home.ts";

/** What was saved last: it is said for a moment, on whichever page follows, and can be undone there. */
export interface SavedChange {
  readonly text: string;
  /** Saves what was before, and shows it; null: it can't be undone. */
  readonly undo: (() => Promise<ApiResult<unknown>>) | null;
  readonly phase: "saved" | "undoing" | "undone";
  /** Why it was not undone; null: it was not tried, or is. */
  readonly problem: string | null;
}
export const savedChange = signal<SavedChange | null>(null);

/** Long enough to read it and to reach the button by keyboard; our choice. It stays while the focus is in it. */
const shownMs = 30_000;
let timer: ReturnType<typeof setTimeout> | undefined;

export function showSaved(text: string, undo: SavedChange["undo"]): void {
  announce(text);
  show({ text, undo, phase: "saved", problem: null });
}

function show(change: SavedChange): void {
  savedChange.value = change;
  clearTimeout(timer);
  timer = setTimeout(hideUnlessUsed, shownMs);
}

function hideUnlessUsed(): void {
  if (document.activeElement?.closest(".saved-note") == null) return void dismissSaved();
  timer = setTimeout(hideUnlessUsed, shownMs);
}

export function dismissSaved(): void {
  clearTimeout(timer);
  savedChange.value = null;
}

/** @param texts what is said of it */
export async function undoSaved(texts: { readonly undone: string; readonly unreachable: string }): Promise<void> {
  const change = savedChange.value;
  if (change === null || change.undo === null || change.phase === "undoing") return;
  show({ ...change, phase: "undoing", problem: null });
  const result = await change.undo();
  updateConnectionState(result);
  if (savedChange.value?.undo !== change.undo) return; // something else was saved meanwhile
  if (result.kind === "ok") {
    announce(texts.undone);
    return show({ text: texts.undone, undo: null, phase: "undone", problem: null });
  }
  const problem = result.kind === "unreachable" ? texts.unreachable : result.problem.detail || result.problem.title;
  announce(problem);
  show({ ...change, phase: "saved", problem });
}

/**
 * The earlier values of what a change sets. Null where one of them had none: a value that was entered can't be made one that
 * never was.
 */
export function earlierValues<Change extends object>(change: Change, before: object): Change | null {
  const earlier = before as Partial<Change>;
  const names = Object.keys(change) as (keyof Change)[];
  if (names.length === 0 || names.some((name) => earlier[name] === undefined)) return null;
  return Object.fromEntries(names.map((name) => [name, earlier[name]])) as Change;
}
