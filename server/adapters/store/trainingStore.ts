import type { ProgrammeChangeRow, TrainingStore } from "../../ports.ts";
import type { ProgrammeChange } from "./generated/sqlite/client.ts";
import type { Connections } from "./openStore.ts";
import { instantFrom, maybeInstant } from "./rows.ts";

export const createTrainingStore = ({ reader }: Connections): TrainingStore => ({
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
