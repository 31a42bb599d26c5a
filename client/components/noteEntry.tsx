import { useState } from "preact/hooks";
import { deleteSummary } from "#text/forms.ts";
import * as text from "#text/notesScreen.ts";
import type { NotesView } from "../../server/contract/trainingView.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { dayAndTimeText, momentText, timeText } from "../text/clock.ts";
import { FormError, useFormSubmit } from "./field.tsx";
import { NoteTextForm } from "./noteForm.tsx";
import { AddPhotos, DeletePhotos, NotePhotos } from "./notePhotos.tsx";
import type { NoteProps } from "./noteProps.ts";
import { StillPicture, stillNameOf } from "./stillPicture.tsx";

/** A note with what can be done with it. */
export function NoteEntry(props: NoteProps) {
  const { note, yard, changed } = props;
  const [isEdited, setEdited] = useState(false);
  // An earlier build stored the notes without it.
  const caps = note.capsOnDish ?? null;
  const about = [
    ...[note.feeder, note.stage].flatMap((of) => (of === null ? [] : [of.name])),
    ...(caps === null ? [] : [text.capsText(caps)]),
  ];
  if (isEdited) {
    const save = (view: NotesView, entered: string) => {
      setEdited(false);
      changed(view, note.id, { ...note, text: entered, changedAt: new Date(now.value).toISOString() });
    };
    return (
      <li>
        <NoteTextForm yard={yard.id} note={note} changed={save} cancel={() => setEdited(false)} />
      </li>
    );
  }
  const changedAt = note.changedAt === null ? [] : [text.changedText(momentText(note.changedAt, now.value, yard.zone))];
  return (
    <li>
      <p class="note-text">{note.text}</p>
      <p class="since">{[text.byText(timeText(note.at, yard.zone), note.by), ...about, ...changedAt].join(" · ")}</p>
      <NoteStill note={note} yard={yard} />
      <NotePhotos note={note} yard={yard} />
      <div class="actions">
        <button type="button" class="plain" onClick={() => setEdited(true)}>
          {text.editLabel}
          <span class="hidden">{text.editNoteText(dayAndTimeText(note.at, now.value, yard.zone))}</span>
        </button>
        <AddPhotos {...props} />
        <DeletePhotos {...props} />
        <DeleteNote {...props} />
      </div>
    </li>
  );
}

/** The still that it was written at; an earlier build stored the notes without it. */
function NoteStill({ note, yard }: Pick<NoteProps, "note" | "yard">) {
  if (!note.still) return null;
  const { picture } = note.still;
  if (picture === null) return <p class="since">{note.still.isEvent ? text.eventText : text.stillGoneText}</p>;
  return (
    <StillPicture yard={yard.id} still={picture} name={stillNameOf(picture, note.feeder?.name ?? "", yard.zone)} />
  );
}

/** Asks once before it deletes. */
function DeleteNote({ note, yard, changed }: NoteProps) {
  const { sending, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const view = await send(() => laterApi.deleteNote(yard.id, note.id));
    if (view === null) return;
    announce(text.deletedText);
    changed(view, note.id, null);
  };
  return (
    <details>
      <summary>{deleteSummary}</summary>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={formError} />
        <p>{text.deleteQuestion}</p>
        <button type="submit" class="danger" disabled={sending}>
          {text.deleteLabel}
        </button>
      </form>
    </details>
  );
}
