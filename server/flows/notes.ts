import type { NoteRequest } from "../contract/trainingRequest.ts";
import type { NoteStillView, NotesView, PhotoView } from "../contract/trainingView.ts";
import { after, type Instant, isoOf, milliseconds } from "../domain/instant.ts";
import { isNearlyFull, pictureQuota, usedShare } from "../domain/pictures/pictureSpace.ts";
import type { NoteRow, PictureRow, Ports, RowPlace, StillRow, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import { programmeFrom } from "./programmeChanges.ts";
import { stillPictureView } from "./stillsOfEvents.ts";

/** The notebook of a yard: what its people wrote about a moment, a feeder or a stage. */

const notesAPage = 50;

/** @param before null: the newest */
export async function notesView(
  { store, clock }: Pick<Ports, "store" | "clock">,
  yard: string,
  before: Instant | RowPlace | null,
): Promise<NotesView> {
  const found = await store.training.notes(yard, before ?? after(clock.now(), milliseconds(1)), notesAPage + 1);
  const feeders = new Map((await store.yards.feeders()).map(({ id, state }) => [id, state.settings.name]));
  const { stages } = programmeFrom(await store.training.programmeChanges(yard));
  const names = new Map(stages.map(({ id, name }) => [id, name]));
  const named = (of: ReadonlyMap<string, string>, id: string | null) =>
    id === null ? null : { id, name: of.get(id) ?? id };
  const page = found.slice(0, notesAPage);
  const photos = photosByNote(
    await store.pictures.picturesOf(
      yard,
      page.map(({ id }) => id),
    ),
  );
  const stills = await store.stills.stillsById(
    yard,
    page.flatMap(({ still }) => still?.id ?? []),
  );
  return {
    notes: page.map(({ id, at, by, text, feeder, stage, changedAt, still, capsOnDish }) => ({
      ...{ id, by, text, capsOnDish },
      at: isoOf(at),
      feeder: named(feeders, feeder),
      stage: named(names, stage),
      changedAt: changedAt === null ? null : isoOf(changedAt),
      still: still && noteStillView(still, stills),
      photos: photos.get(id) ?? [],
    })),
    more: found.length > notesAPage,
    pictureSpaceText: await pictureSpaceText(store, yard),
  };
}

function noteStillView({ id, event }: NonNullable<NoteRow["still"]>, stills: readonly StillRow[]): NoteStillView {
  const still = stills.find((one) => one.id === id) ?? null;
  const picture = stillPictureView(still);
  return {
    event,
    isEvent: id === null,
    picture: picture && still && { ...picture, at: isoOf(still.at), kind: still.eventKind },
  };
}

function photosByNote(pictures: readonly PictureRow[]): ReadonlyMap<string, readonly PhotoView[]> {
  const byNote = new Map<string, PhotoView[]>();
  for (const { id, note, widthPixels, heightPixels } of pictures)
    byNote.set(note, [...(byNote.get(note) ?? []), { id, widthPixels, heightPixels }]);
  return byNote;
}

/** Said before pictures are refused. */
async function pictureSpaceText({ pictures }: Ports["store"], yard: string): Promise<string | null> {
  const used = await pictures.usage(yard);
  if (!isNearlyFull(used)) return null;
  return texts.pictures.nearlyFull(usedShare(used), used.pictures, pictureQuota.pictures);
}

export type NoteProblem = "noFeeder" | "noStage" | "noStill";

/** A note with a known id stays as it is: the client repeats it after a lost answer. @returns null where it is stored */
export async function addNote(
  { store }: Pick<Ports, "store">,
  yard: YardRow["id"],
  { id, text, feeder, stage, still, event, capsOnDish }: NoteRequest,
  { at, by }: { readonly at: (still: StillRow | null) => Instant } & Pick<NoteRow, "by">,
): Promise<NoteProblem | null> {
  if (await store.training.hasNote(yard, id)) return null;
  const found = still === undefined ? null : await store.stills.still(yard, still);
  if (still !== undefined && found === null) return "noStill";
  const problem = await problemOfAbout(store, yard, { feeder, stage });
  if (problem !== null) return problem;
  await store.training.addNote({
    ...{ id, yard, at: at(found), by, text },
    feeder: found?.feeder ?? feeder ?? null,
    stage: stage ?? null,
    capsOnDish: capsOnDish ?? null,
    changedAt: null,
    still: aboutOf(found, event),
  });
  return null;
}

function aboutOf(still: StillRow | null, event: NoteRequest["event"]): NoteRow["still"] {
  if (still !== null) return { id: still.id, event: still.event };
  return event === undefined ? null : { id: null, event };
}

async function problemOfAbout(
  store: Ports["store"],
  yard: string,
  { feeder, stage }: Pick<NoteRequest, "feeder" | "stage">,
): Promise<NoteProblem | null> {
  if (feeder !== undefined && (await store.yards.feeder(feeder))?.yard !== yard) return "noFeeder";
  if (stage === undefined) return null;
  const { stages, periods } = programmeFrom(await store.training.programmeChanges(yard));
  const known = [...stages, ...periods.map((period) => period.stage)];
  return known.some((one) => one.id === stage) ? null : "noStage";
}
