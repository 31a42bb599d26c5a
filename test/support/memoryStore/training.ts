import type { TrainingStore, TrainingTransaction } from "../../../server/ports.ts";
import type { Access } from "./memoryDatabase.ts";
import { keyOf, rowsWhere, type Tables } from "./tables.ts";

export const createTraining = ({ read }: Access): TrainingStore => ({
  async programmeChanges(yard) {
    return rowsWhere(read().programmeChanges, (change) => change.yard === yard).sort(
      (a, b) => a.at - b.at || (a.id < b.id ? -1 : 1),
    );
  },
});

export const trainingTransaction = ({ programmeChanges }: Tables): TrainingTransaction => ({
  async saveProgrammeChange(change) {
    const key = keyOf(change.yard, change.id);
    if (programmeChanges.has(key)) return false;
    programmeChanges.set(key, change);
    return true;
  },
  async undoProgrammeChange(yard, id, undone) {
    const key = keyOf(yard, id);
    const found = programmeChanges.get(key);
    if (found === undefined || found.undone !== null) return null;
    programmeChanges.set(key, { ...found, undone });
    return found;
  },
});
