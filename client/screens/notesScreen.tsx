import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { loadingText } from "#text/common.ts";
import * as text from "#text/notesScreen.ts";
import { yardNotFoundText } from "#text/screens.ts";
import { linkText as stillsLinkText } from "#text/stillsScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import type { NotesView, NoteView } from "../../server/contract/trainingView.ts";
import { laterApi } from "../api/laterApi.ts";
import { FormError } from "../components/field.tsx";
import { NoteEntry } from "../components/noteEntry.tsx";
import { NoteForm, type StillOfNote } from "../components/noteForm.tsx";
import type { NoteChanged } from "../components/noteProps.ts";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { now } from "../state/clock.ts";
import { connectionState, updateConnectionState, yards } from "../state/home.ts";
import { keepNotes, loadNotes, notes, notesError } from "../state/notes.ts";
import { capitalize } from "../text/amount.ts";
import { daysOf, mergeByMoment } from "../text/byDay.ts";
import { dayText, localDate, momentText } from "../text/clock.ts";
import { notFoundScreen } from "./notFound.tsx";

/** The notebook of a yard: a form to write in it, and its notes by day, the newest first. */
export function NotesScreen(props: { readonly id: string }) {
  useLoad(() => loadNotes(props.id), [props.id]);
  const { query, route } = useLocation();
  const still = stillFrom(query);
  const yard = yards.value.find((each) => each.id === props.id);
  if (yard === undefined) return notFoundScreen(text.title, yardNotFoundText);
  const known = notes.value.get(yard.id);
  const isOffline = connectionState.value === "offline";
  return (
    <Screen title={text.title} practice={yard.practice} back={{ href: `/yards/${yard.id}`, name: yard.name }}>
      <p>
        <a href={`/yards/${yard.id}/pictures`}>{stillsLinkText}</a>
      </p>
      <NoteForm
        yard={yard}
        still={still}
        written={(view) => {
          keepNotes(yard.id, view);
          if (still !== null) route(`/yards/${yard.id}/notes`, true);
        }}
      />
      {known === undefined ? (
        <p class="empty">{notesError.value ?? (isOffline ? text.notOnPhoneText : loadingText)}</p>
      ) : (
        <>
          {isOffline && (
            <p class="hint">{text.asOfText(momentText(new Date(known.asOf).toISOString(), now.value, yard.zone))}</p>
          )}
          {/* An earlier build stored the notes without it. */}
          {(known.view.pictureSpaceText ?? null) !== null && <p class="notice">{known.view.pictureSpaceText}</p>}
          <NotePages newest={known.view} yard={yard} />
        </>
      )}
    </Screen>
  );
}

/** A still, or an event that has none, as the address names it. */
function stillFrom({ still, boot, seq, at, kind, feeder }: Readonly<Record<string, string>>): StillOfNote | null {
  if (feeder === undefined || Number.isNaN(Date.parse(at ?? ""))) return null;
  const about = { at: at as string, kind: kind || null, feeder };
  if (still !== undefined) return { id: still, event: null, ...about };
  return boot === undefined || seq === undefined ? null : { id: null, event: { boot, seq: Number(seq) }, ...about };
}

/** The newest notes, and the older ones that were asked for. */
function NotePages({ newest, yard }: { readonly newest: NotesView; readonly yard: YardView }) {
  const [older, setOlder] = useState<NotesView | null>(null);
  const [problem, setProblem] = useState<string | null>(null);
  const [loading, setLoading] = useState(false);
  const shown = mergeByMoment(older?.notes ?? [], newest.notes);
  const changed: NoteChanged = (view, id, note) => {
    const kept = older?.notes.flatMap((each) => (each.id !== id ? [each] : note === null ? [] : [note]));
    if (older !== null) setOlder({ ...older, notes: kept ?? [] });
    keepNotes(yard.id, view);
  };
  const loadOlder = async () => {
    setLoading(true);
    const result = await laterApi.notes(yard.id, shown.at(-1) ?? null);
    updateConnectionState(result);
    setLoading(false);
    setProblem(result.kind === "ok" ? null : text.notLoadedText);
    // With what is shown: a note that is written later moves the last of the newest out of their page.
    if (result.kind === "ok") setOlder({ ...result.value, notes: mergeByMoment(shown, result.value.notes) });
  };
  if (shown.length === 0) return <p class="empty">{text.noNotesText}</p>;
  return (
    <>
      <NotesByDay shown={shown} yard={yard} changed={changed} />
      <FormError text={problem} />
      {(older ?? newest).more && (
        <div class="actions">
          <button type="button" disabled={loading} onClick={() => void loadOlder()}>
            {text.olderLabel}
          </button>
        </div>
      )}
    </>
  );
}

const NotesByDay = (props: {
  readonly shown: readonly NoteView[];
  readonly yard: YardView;
  readonly changed: NoteChanged;
}) => (
  <>
    {daysOf(props.shown, props.yard.zone).map(([date, ofDay]) => (
      <section key={date} aria-labelledby={`notes-${date}`}>
        <h2 id={`notes-${date}`}>{capitalize(dayText(date, localDate(now.value, props.yard.zone)))}</h2>
        <ul class="entry-list">
          {ofDay.map((note) => (
            <NoteEntry key={note.id} note={note} yard={props.yard} changed={props.changed} />
          ))}
        </ul>
      </section>
    ))}
  </>
);
