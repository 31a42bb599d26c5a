import { createHash } from "node:crypto";
import { after, days, type Instant, isoOf } from "../domain/instant.ts";
import type { ExportRow } from "../domain/training/exportColumns.ts";
import type { Ports, RowPlace } from "../ports.ts";

/** Stills as rows of the training record's export, the newest first; their pictures are asked for by their addresses. */
export async function* stillRows(
  { store, clock, pictureFiles }: Pick<Ports, "store" | "clock" | "pictureFiles">,
  yard: string,
): AsyncGenerator<ExportRow> {
  for (let before: Instant | RowPlace = after(clock.now(), days(1)); ; ) {
    const page = await store.stills.stills(yard, before, stillsAtOnce);
    for (const { id, feeder, at, event, eventKind, payment, who, brought, starred } of page) {
      const picture = await pictureFiles.read(yard, id, "full");
      yield [
        ...[feeder, isoOf(at), event?.boot ?? null, event?.seq ?? null, eventKind, payment, who, brought],
        ...[starred ? 1 : 0, `/api/v1/yards/${yard}/stills/${id}/picture`],
        picture === null ? null : createHash("sha256").update(picture).digest("hex"),
      ];
    }
    const last = page.at(-1);
    if (last === undefined || page.length < stillsAtOnce) return;
    before = last;
  }
}

const stillsAtOnce = 200;
