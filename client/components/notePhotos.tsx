import { useState } from "preact/hooks";
import * as text from "#text/notesScreen.ts";
import { laterApi, photoUrl } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { changedNote, sendPhotos } from "../state/photos.ts";
import { dayAndTimeText } from "../text/clock.ts";
import { Field, FormError, useFormSubmit } from "./field.tsx";
import type { NoteProps } from "./noteProps.ts";
import { smallSize } from "./smallSize.ts";

/** What the server takes. */
export const photoTypes = "image/jpeg,image/png,image/webp";

/** The photographs of a note, small; each opens the large one. */
export function NotePhotos({ note, yard }: Pick<NoteProps, "note" | "yard">) {
  if (note.photos.length === 0) return null;
  const time = dayAndTimeText(note.at, now.value, yard.zone);
  return (
    <ul class="photos">
      {note.photos.map((photo, index) => (
        <li key={photo.id}>
          <a href={photoUrl(yard.id, photo.id, "full")} target="_blank" rel="noreferrer">
            <img
              src={photoUrl(yard.id, photo.id, "small")}
              {...smallSize(photo)}
              loading="lazy"
              alt={text.photoName(index + 1, note.photos.length, time)}
            />
          </a>
        </li>
      ))}
    </ul>
  );
}

export function DeletePhotos({ note, yard, changed }: NoteProps) {
  const { sending, formError, form, send } = useFormSubmit();
  if (note.photos.length === 0) return null;
  const remove = async (id: string) => {
    const view = await send(() => laterApi.deletePhoto(yard.id, id));
    if (view === null) return;
    announce(text.photoDeletedText);
    changed(view, note.id, { ...note, photos: note.photos.filter((photo) => photo.id !== id) });
  };
  return (
    <details>
      <summary>{text.deletePhotosSummary}</summary>
      <form ref={form} onSubmit={(event) => event.preventDefault()}>
        <FormError text={formError} />
        <div class="actions">
          {note.photos.map(({ id }, index) => (
            <button key={id} type="button" class="danger" disabled={sending} onClick={() => void remove(id)}>
              {text.deletePhotoLabel(index + 1)}
            </button>
          ))}
        </div>
      </form>
    </details>
  );
}

/** Adds photographs to a note that is there. */
export function AddPhotos({ note, yard, changed }: NoteProps) {
  const [left, setLeft] = useState(0);
  const [problem, setProblem] = useState<string | null>(null);
  const add = async (input: HTMLInputElement) => {
    const files = [...(input.files ?? [])];
    setProblem(null);
    const { view, added, problem } = await sendPhotos(yard.id, note.id, files, setLeft);
    setLeft(0);
    input.value = "";
    if (problem !== null) setProblem(text.photosNotSentText(problem));
    if (view === null) return;
    announce(text.photoAddedText(added));
    changed(view, note.id, await changedNote(yard.id, note, view));
  };
  return (
    <details>
      <summary>{text.addPhotosSummary}</summary>
      <Field
        label={text.addPhotosToLabel(dayAndTimeText(note.at, now.value, yard.zone))}
        input={{
          ...{ type: "file", accept: photoTypes, multiple: true, disabled: left > 0 },
          onChange: (event) => void add(event.currentTarget),
        }}
      />
      {left > 0 && <p class="hint">{text.sendingPhotosText(left)}</p>}
      <FormError text={problem} />
    </details>
  );
}
