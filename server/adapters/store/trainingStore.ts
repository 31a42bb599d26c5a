import type { NoteRow, ProgrammeChangeRow, TrainingStore } from "../../ports.ts";
import type { Note, ProgrammeChange } from "./generated/sqlite/client.ts";
import type { Connections } from "./openStore.ts";
import { dateOf, instantFrom, maybeInstant, rowsBefore } from "./rows.ts";

export const createTrainingStore = (connections: Connections): TrainingStore => ({
  ...programme(connections),
  ...notes(connections),
  ...counts(connections),
});

const programme = ({ reader }: Connections): Pick<TrainingStore, "programmeChanges"> => ({
  async programmeChanges(yard) {
    const found = await reader.programmeChange.findMany({
      where: { yardId: yard },
      orderBy: [{ at: "asc" }, { id: "asc" }],
    });
    return found.map(changeFrom);
  },
});

function changeFrom({ yardId, undoneAt, undoneBy, ...row }: ProgrammeChange): ProgrammeChangeRow {
  const undone = maybeInstant(undoneAt);
  return {
    ...{ id: row.id, yard: yardId, at: instantFrom(row.at), by: row.by, reason: row.reason },
    content: JSON.parse(row.content) as ProgrammeChangeRow["content"],
    plansBefore: JSON.parse(row.plansBefore) as ProgrammeChangeRow["plansBefore"],
    undone: undone === null ? null : { at: undone, by: undoneBy ?? "" },
  };
}

const counts = ({ reader }: Connections): Pick<TrainingStore, "capCounts"> => ({
  async capCounts(yard, { from, to }, most) {
    const found = await reader.note.findMany({
      where: { yardId: yard, at: { gte: dateOf(from), lt: dateOf(to) }, capsOnDish: { not: null } },
      orderBy: [{ at: "asc" }, { id: "asc" }],
      take: most,
      select: { at: true, capsOnDish: true },
    });
    return found.map(({ at, capsOnDish }) => ({ at: instantFrom(at), caps: capsOnDish ?? 0 }));
  },
});

function notes({ reader, write, eraseRemoved }: Connections): Omit<TrainingStore, "programmeChanges" | "capCounts"> {
  return {
    async notes(yard, before, most) {
      const found = await reader.note.findMany({
        where: { yardId: yard, ...rowsBefore(before) },
        orderBy: [{ at: "desc" }, { id: "asc" }],
        take: most,
      });
      return found.map(noteFrom);
    },

    async hasNote(yard, id) {
      const key = { yardId_id: { yardId: yard, id } };
      return (await reader.note.findUnique({ where: key, select: { id: true } })) !== null;
    },

    addNote: ({ id, yard, at, by, text, feeder, stage, still, capsOnDish, changedAt }) =>
      write(async (statements) => {
        const key = { yardId_id: { yardId: yard, id } };
        if ((await statements.note.findUnique({ where: key, select: { id: true } })) !== null) return false;
        const changed = changedAt === null ? null : dateOf(changedAt);
        const about = { feederId: feeder, stage, capsOnDish, changedAt: changed, ...stillColumns(still) };
        await statements.note.create({
          data: { yardId: yard, id, at: dateOf(at), by, text, ...about },
        });
        return true;
      }),

    changeNote: (yard, id, { text, changedAt }) =>
      write(async (statements) => {
        const data = { text, changedAt: changedAt === null ? null : dateOf(changedAt) };
        return (await statements.note.updateMany({ where: { yardId: yard, id }, data })).count === 1;
      }),

    async removeNote(yard, id) {
      const { count } = await write(async (statements) => {
        await statements.picture.deleteMany({ where: { yardId: yard, noteId: id } });
        return statements.note.deleteMany({ where: { yardId: yard, id } });
      });
      if (count > 0) await eraseRemoved();
      return count > 0;
    },
  };
}

const stillColumns = (still: NoteRow["still"]) => ({
  stillId: still?.id ?? null,
  boot: still?.event?.boot ?? null,
  seq: still?.event == null ? null : BigInt(still.event.seq),
});

const noteFrom = ({ id, yardId, at, by, text, feederId, stage, changedAt, capsOnDish, ...note }: Note): NoteRow => ({
  ...{ id, yard: yardId, at: instantFrom(at), by, text, feeder: feederId, stage, capsOnDish },
  changedAt: maybeInstant(changedAt),
  still: stillFrom(note),
});

const stillFrom = ({ stillId, boot, seq }: Pick<Note, "stillId" | "boot" | "seq">): NoteRow["still"] =>
  stillId === null && boot === null
    ? null
    : { id: stillId, event: boot === null || seq === null ? null : { boot, seq: Number(seq) } };
