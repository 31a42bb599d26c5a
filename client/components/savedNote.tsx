import * as text from "#text/savedNote.ts";
import { frameNote } from "../state/announcement.ts";
import { dismissSaved, type SavedChange, savedChange, showSaved, undoSaved } from "../state/saved.ts";
import { toSentence } from "../text/amount.ts";
import "../style/savedNote.css";

/** Says that it was saved, on this page or the next. @param undo saves what was before; null: that isn't possible */
export function noteSaved(text: string, undo: SavedChange["undo"]): void {
  frameNote.value ??= <SavedNote />;
  showSaved(text, undo);
}

/** Says what was saved, with an undo where there is one. */
function SavedNote() {
  const change = savedChange.value;
  if (change === null) return null;
  const { phase, undo, problem } = change;
  const texts = { undone: text.undoneText, unreachable: text.unreachableText };
  return (
    <div class="saved-note">
      <p>
        {change.text}
        {problem !== null && <strong> {text.notUndoneText(toSentence(problem))}</strong>}
      </p>
      {phase === "undoing" && <span>{text.undoingText}</span>}
      {phase === "saved" && undo !== null && (
        <button type="button" class="plain" onClick={() => void undoSaved(texts)}>
          {text.undoLabel}
        </button>
      )}
      <button type="button" class="plain" onClick={dismissSaved}>
        {text.closeLabel}
      </button>
    </div>
  );
}
