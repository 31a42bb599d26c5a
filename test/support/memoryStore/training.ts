import type { TrainingStore, TrainingTransaction } from "../../../server/ports.ts";
import type { Access } from "./memoryDatabase.ts";
import { addIfNew, comesAfter, keyOf, removeWhere, rowsWhere, type Tables } from "./tables.ts";

export const createTraining = ({ read, write }: Access): TrainingStore => ({
  async programmeChanges(yard) {
    return rowsWhere(read().programmeChanges, (change) => change.yard === yard).sort(
      (a, b) => a.at - b.at || (a.id < b.id ? -1 : 1),
    );
  },
  async notes(yard, before, most) {
    const found = rowsWhere(read().notes, (note) => note.yard === yard && comesAfter(note, before));
    return found.sort((a, b) => b.at - a.at || (a.id < b.id ? -1 : 1)).slice(0, most);
  },
  async capCounts(yard, { from, to }, most) {
    const found = rowsWhere(read().notes, (note) => note.yard === yard && from <= note.at && note.at < to);
    found.sort((a, b) => a.at - b.at || (a.id < b.id ? -1 : 1));
    return found
      .flatMap(({ at, capsOnDish }) => (capsOnDish === null ? [] : [{ at, caps: capsOnDish }]))
      .slice(0, most);
  },
  hasNote: async (yard, id) => read().notes.has(keyOf(yard, id)),
  addNote: (note) => write(({ notes }) => addIfNew(notes, keyOf(note.yard, note.id), note)),
  changeNote: (yard, id, changes) =>
    write(({ notes }) => {
      const found = notes.get(keyOf(yard, id));
      if (found === undefined) return false;
      notes.set(keyOf(yard, id), { ...found, ...changes });
      return true;
    }),
  removeNote: (yard, id) =>
    write(({ notes, pictures }) => {
      removeWhere(pictures, (picture) => picture.yard === yard && picture.note === id);
      return notes.delete(keyOf(yard, id));
    }),
});

export const trainingTransaction = ({ programmeChanges }: Tables): TrainingTransaction => ({
  async saveProgrammeChange(change) {
    return addIfNew(programmeChanges, keyOf(change.yard, change.id), change);
  },
  async undoProgrammeChange(yard, id, undone) {
    const key = keyOf(yard, id);
    const found = programmeChanges.get(key);
    if (found === undefined || found.undone !== null) return null;
    programmeChanges.set(key, { ...found, undone });
    return found;
  },
});
