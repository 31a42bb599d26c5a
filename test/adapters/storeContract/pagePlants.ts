import type { Instant } from "../../../server/domain/instant.ts";
import { inPart } from "./distortedStore.ts";
import type { Plant } from "./plant.ts";

export const pagePlants: readonly Plant[] = [
  {
    fault: "finds an export key that has expired",
    rule: "export keys are listed in the order in which they were made, and found by their hash until they expire",
    plant: inPart("accounts", ({ exportKeyWith }) => ({
      exportKeyWith: (keyHash) => exportKeyWith(keyHash, 0 as Instant),
    })),
  },
  {
    fault: "goes on after a note by its moment alone",
    rule: "notes of the same moment are each on one page, whatever the size of the pages",
    plant: inPart("training", ({ notes }) => ({
      notes: (yard, before, most) => notes(yard, typeof before === "number" ? before : before.at, most),
    })),
  },
];
