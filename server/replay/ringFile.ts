import { z } from "zod";
import type { FieldProblem } from "../contract/fieldProblem.ts";
import type { InForce, Ring, RingRecord } from "../domain/comparison/ringRecord.ts";
import { type Instant, instantOf, isoOf } from "../domain/instant.ts";
import { fieldProblems } from "./logLine.ts";

/** What rang in one replay, as a small JSON file, to be compared with what another version makes of the same log. */
export interface SavedRings extends RingRecord {
  readonly from: Instant;
  readonly to: Instant;
  readonly feeders: readonly string[];
}

const at = z.iso.datetime({ offset: true, error: "must be an ISO 8601 date and time with its zone" });
const name = z.string().min(1).max(128);

/** A newer version may know faults that this one doesn't, so their names are open. */
const ringFile = z.strictObject({
  piewardRings: z.literal(1, "must be 1: it is a file that --save of this version, or one that knows it, wrote"),
  from: at,
  to: at,
  feeders: z.array(name).min(1),
  rings: z.array(
    z.strictObject({
      feeder: name,
      fault: name,
      priority: z.enum(["urgent", "soon", "note"]),
      at,
      endedAt: at.nullable(),
    }),
  ),
  inForce: z.array(z.strictObject({ feeder: name, fault: name, from: at, to: at.nullable() })),
});

export function ringFileText({ from, to, feeders, rings, inForce }: SavedRings): string {
  const saved: z.input<typeof ringFile> = {
    piewardRings: 1,
    from: isoOf(from),
    to: isoOf(to),
    feeders: [...feeders],
    rings: rings.map((ring) => ({ ...ring, at: isoOf(ring.at), endedAt: maybeIso(ring.endedAt) })),
    inForce: inForce.map((each) => ({ ...each, from: isoOf(each.from), to: maybeIso(each.to) })),
  };
  return `${JSON.stringify(saved, null, 1)}\n`;
}

export function readRingFile(
  content: unknown,
):
  | { readonly kind: "read"; readonly saved: SavedRings }
  | { readonly kind: "wrong"; readonly problems: readonly FieldProblem[] } {
  const read = ringFile.safeParse(content);
  if (!read.success) return { kind: "wrong", problems: fieldProblems(read.error) };
  const { from, to, feeders, rings, inForce } = read.data;
  const saved = {
    from: instantOf(from),
    to: instantOf(to),
    feeders,
    rings: rings.map((ring): Ring => ({ ...ring, at: instantOf(ring.at), endedAt: maybeInstant(ring.endedAt) })),
    inForce: inForce.map((each): InForce => ({ ...each, from: instantOf(each.from), to: maybeInstant(each.to) })),
  };
  return { kind: "read", saved };
}

const maybeIso = (moment: Instant | null): string | null => (moment === null ? null : isoOf(moment));
const maybeInstant = (text: string | null): Instant | null => (text === null ? null : instantOf(text));
