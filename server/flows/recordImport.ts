import type { ImportedLine } from "../contract/importedRecord.ts";
import type { ImportedRecordView } from "../contract/trainingView.ts";
import { instantOf } from "../domain/instant.ts";
import type { NoteRow, OpenArchive, Ports, YardRow } from "../ports.ts";
import { importFeeders } from "./importedFeeders.ts";
import { importPhotos, importStills } from "./importedPictures.ts";
import { checkedLines, checkRecord, type LineProblem, type RecordFiles } from "./recordTables.ts";

/**
 * Takes a training record that was exported into a yard: its programme, notes, pictures and events. All of it is checked first, and with one
 * line that isn't understood nothing is stored. What the yard has already stays as it is, so that an archive may come again, also after
 * an import that a crash has ended.
 */
export async function importRecord(
  ports: Ports,
  yard: YardRow,
  archive: OpenArchive,
  by: string,
): Promise<ImportedRecordView | readonly LineProblem[]> {
  const record = await checkRecord(archive, ports.clock.now());
  if (!("files" in record)) return record;
  const changes = await importChanges(ports, yard, record);
  const { ids, feeders, events, eventsLeftOut } = await importFeeders(ports, yard, record, by);
  const stills = await importStills(ports, yard, record, ids);
  const notes = await importNotes(ports, yard, record, { feeders: ids, stills: stills.ids });
  const photos = await importPhotos(ports, yard, record);
  ports.liveFeed.announceChange(yard.id, null, null);
  return {
    ...{ changes, feeders, events, eventsLeftOut, notes },
    ...{ photos: photos.added, stills: stills.added, picturesLeftOut: photos.leftOut + stills.leftOut },
  };
}

/** It changes no feeder's plan: the programme of another place says nothing of what is fed here. */
async function importChanges({ store }: Ports, { id: yard }: YardRow, record: RecordFiles): Promise<number> {
  let added = 0;
  for await (const { id, at, by, reason, content, undone_at, undone_by } of checkedLines(record, "changes")) {
    const isNew = await store.transaction(async (tx) => {
      const row = { id, yard, at: instantOf(at), by, reason, content, plansBefore: [], undone: null };
      if (!(await tx.saveProgrammeChange(row))) return false;
      if (undone_at !== null) await tx.undoProgrammeChange(yard, id, { at: instantOf(undone_at), by: undone_by ?? by });
      return true;
    });
    if (isNew) added += 1;
  }
  return added;
}

interface NewIds {
  readonly feeders: ReadonlyMap<string, string>;
  readonly stills: ReadonlyMap<string, string>;
}

async function importNotes({ store }: Ports, { id: yard }: YardRow, record: RecordFiles, ids: NewIds): Promise<number> {
  let added = 0;
  for await (const line of checkedLines(record, "notes"))
    if (await store.training.addNote(noteOf(line, yard, ids))) added += 1;
  return added;
}

function noteOf(line: ImportedLine<"notes">, yard: string, { feeders, stills }: NewIds): NoteRow {
  const { id, at, by, text, feeder, stage, still, boot, seq, caps_on_dish, changed_at } = line;
  const event = boot === null || seq === null ? null : { boot, seq };
  return {
    ...{ id, yard, at: instantOf(at), by, text, stage, capsOnDish: caps_on_dish },
    feeder: feeder === null ? null : (feeders.get(feeder) ?? null),
    changedAt: changed_at === null ? null : instantOf(changed_at),
    still:
      still === null && event === null ? null : { id: still === null ? null : (stills.get(still) ?? still), event },
  };
}
