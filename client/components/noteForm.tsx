import { useState } from "preact/hooks";
import { cancelLabel, saveLabel } from "#text/common.ts";
import * as text from "#text/notesScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { NotesView } from "../../server/contract/trainingView.ts";
import { laterApi } from "../api/laterApi.ts";
import { stillUrl } from "../api/stillApi.ts";
import { newId } from "../state/actions.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { sendPhotos } from "../state/photos.ts";
import { dayAndTimeText, zonedInstant } from "../text/clock.ts";
import { Field, FormError, readText, SelectField, TextAreaField, useFormSubmit } from "./field.tsx";
import { photoTypes } from "./notePhotos.tsx";
import { stillNameOf } from "./stillPicture.tsx";

/** A still as the address of the form names it. */
export interface StillOfNote {
  readonly id: string | null; // null: the event has no still
  readonly event: { readonly boot: string; readonly seq: number } | null; // of one without a still
  readonly at: string;
  readonly kind: string | null;
  readonly feeder: string;
}

interface NoteFormProps {
  readonly yard: YardView;
  /** What it is written at; null: nothing. */
  readonly still: StillOfNote | null;
  readonly written: (view: NotesView) => void;
}

/** Writes a note. What was entered stays until the server has it. */
export function NoteForm(props: NoteFormProps) {
  const { yard, still } = props;
  const { sending, problems, formError, form, send } = useFormSubmit();
  const [id, setId] = useState(newId); // the same for a second try after a lost answer
  const [left, setLeft] = useState(0); // photographs that are to be sent
  const [photoProblem, setPhotoProblem] = useState<string | null>(null);
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const written = event.currentTarget as HTMLFormElement;
    const entered = readNote(new FormData(written), yard.zone);
    const view = await send(() => laterApi.addNote(yard.id, { id, ...aboutOf(still), ...entered }));
    if (view === null) return;
    const photos = [...(written.querySelector<HTMLInputElement>("input[type=file]")?.files ?? [])];
    const sent = await sendPhotos(yard.id, id, photos, setLeft);
    setLeft(0);
    written.reset();
    setId(newId());
    setPhotoProblem(sent.problem === null ? null : text.photosNotSentText(sent.problem));
    announce(text.writtenText);
    props.written(sent.view ?? view);
  };
  return (
    <section aria-labelledby="write-title">
      <h2 id="write-title">{text.writeTitle}</h2>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={formError} />
        <NoteFields yard={yard} still={still} problems={problems} />
        {left > 0 && <p class="hint">{text.sendingPhotosText(left)}</p>}
        <FormError text={photoProblem} />
        <div class="actions">
          <button type="submit" class="main" disabled={sending || left > 0}>
            {saveLabel}
          </button>
        </div>
      </form>
    </section>
  );
}

function aboutOf(still: StillOfNote | null) {
  if (still === null) return {};
  const { id, event, at, feeder } = still;
  return id !== null ? { still: id } : { feeder, at, ...(event && { event }) };
}

type FieldsProps = Pick<NoteFormProps, "yard" | "still"> & { readonly problems: Readonly<Record<string, string>> };

function NoteFields({ yard, still, problems }: FieldsProps) {
  const choices = [
    { value: "", label: text.wholeYardOption },
    ...yard.feeders.map((feeder) => ({ value: feeder.id, label: feeder.name })),
  ];
  const area = { name: "text", rows: 4, maxLength: 4_000, required: true };
  return (
    <>
      {still !== null && <AboutStill yard={yard} still={still} />}
      <TextAreaField label={text.textLabel} problem={problems.text} area={area} />
      <Field
        label={text.capsLabel}
        hint={text.capsHint}
        problem={problems.capsOnDish}
        input={{ name: "capsOnDish", type: "number", inputMode: "numeric", min: 0, max: 1_000, step: 1 }}
      />
      <Field
        label={text.whenLabel}
        hint={still === null ? text.whenHint : still.id === null ? text.whenEventHint : text.whenStillHint}
        problem={problems.at}
        input={{ name: "at", type: "datetime-local" }}
      />
      {still === null && yard.feeders.length > 0 && (
        <SelectField label={text.feederLabel} problem={problems.feeder} choices={choices} select={{ name: "feeder" }} />
      )}
      <Field
        label={text.addPhotosLabel}
        hint={text.photosHint}
        input={{ name: "photos", type: "file", accept: photoTypes, multiple: true }}
      />
    </>
  );
}

/** It is named also where it can't be shown, as without a connection. */
function AboutStill({ yard, still }: { readonly yard: YardView; readonly still: StillOfNote }) {
  const feeder = yard.feeders.find(({ id }) => id === still.feeder)?.name ?? still.feeder;
  return (
    <>
      <p>
        {still.id === null
          ? text.aboutEventText(stillNameOf(still, feeder, yard.zone), dayAndTimeText(still.at, now.value, yard.zone))
          : text.aboutStillText}
      </p>
      {still.id !== null && (
        <img
          class="note-still"
          src={stillUrl(yard.id, still.id, "small")}
          alt={stillNameOf(still, feeder, yard.zone)}
        />
      )}
      <p>
        <a href={`/yards/${yard.id}/notes`}>{still.id === null ? text.withoutEventLabel : text.withoutStillLabel}</a>
      </p>
    </>
  );
}

/** A moment is entered as the clocks in the yard show it. */
function readNote(data: FormData, zone: string) {
  const [date = "", time = ""] = readText(data, "at").split("T");
  const feeder = readText(data, "feeder");
  const caps = readText(data, "capsOnDish");
  const written = readText(data, "text");
  return {
    // A count needs no words.
    text: written.trim() === "" && caps !== "" ? text.capsNoteText : written,
    ...(caps === "" ? {} : { capsOnDish: Number(caps) }),
    ...(time === "" ? {} : { at: zonedInstant(date, time.slice(0, 5), zone) }),
    ...(feeder === "" ? {} : { feeder }),
  };
}

/** Changes the text of a note. */
export function NoteTextForm(props: {
  readonly yard: string;
  readonly note: NotesView["notes"][number];
  readonly changed: (view: NotesView, text: string) => void;
  readonly cancel: () => void;
}) {
  const { note } = props;
  const { sending, problems, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const entered = readText(new FormData(event.currentTarget as HTMLFormElement), "text");
    const view = await send(() => laterApi.changeNote(props.yard, note.id, { text: entered }));
    if (view === null) return;
    announce(text.changedNoteText);
    props.changed(view, entered);
  };
  return (
    <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
      <FormError text={formError} />
      <TextAreaField
        label={text.textLabel}
        problem={problems.text}
        area={{ name: "text", rows: 4, maxLength: 4_000, defaultValue: note.text }}
      />
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {saveLabel}
        </button>
        <button type="button" onClick={props.cancel}>
          {cancelLabel}
        </button>
      </div>
    </form>
  );
}
