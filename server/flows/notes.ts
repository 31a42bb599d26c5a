import type { NoteRequest } from "../contract/trainingRequest.ts";
import type { NotesView, PhotoView } from "../contract/trainingView.ts";
import { after, type Instant, isoOf, milliseconds } from "../domain/instant.ts";
import { isNearlyFull, pictureQuota, usedShare } from "../domain/pictures/pictureSpace.ts";
import type { NoteRow, PictureRow, Ports, RowPlace, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import { programmeFrom } from "./programmeChanges.ts";

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
  return {
    notes: page.map(({ id, at, by, text, feeder, stage, changedAt }) => ({
      ...{ id, by, text },
      at: isoOf(at),
      feeder: named(feeders, feeder),
      stage: named(names, stage),
      changedAt: changedAt === null ? null : isoOf(changedAt),
      photos: photos.get(id) ?? [],
    })),
    more: found.length > notesAPage,
    pictureSpaceText: await pictureSpaceText(store, yard),
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

export type NoteProblem = "noFeeder" | "noStage";

/** A note with a known id stays as it is: the client repeats it after a lost answer. @returns null where it is stored */
export async function addNote(
  { store }: Pick<Ports, "store">,
  yard: YardRow["id"],
  { id, text, feeder, stage }: NoteRequest,
  { at, by }: Pick<NoteRow, "at" | "by">,
): Promise<NoteProblem | null> {
  if (feeder !== undefined && (await store.yards.feeder(feeder))?.yard !== yard) return "noFeeder";
  if (stage !== undefined) {
    const { stages, periods } = programmeFrom(await store.training.programmeChanges(yard));
    const known = [...stages, ...periods.map((period) => period.stage)];
    if (!known.some((one) => one.id === stage)) return "noStage";
  }
  await store.training.addNote({
    ...{ id, yard, at, by, text },
    feeder: feeder ?? null,
    stage: stage ?? null,
    changedAt: null,
  });
  return null;
}
