import { crc32 } from "node:zlib";
import type { HistoryLevel } from "../../server/domain/history/historyPlan.ts";
import type { QuarterRollup } from "../../server/domain/history/quarterChanges.ts";
import { mergeRollups } from "../../server/domain/history/rollup.ts";
import { dayOf, hourOf, quarterOf, type RollupSpan } from "../../server/domain/history/rollupSpans.ts";
import { decodeRollup, encodeRollup } from "../../server/domain/history/rollupText.ts";
import type { Instant } from "../../server/domain/instant.ts";
import { rebuildState } from "../../server/flows/pure/rebuildState.ts";
import type { SteppedState } from "../../server/ports.ts";
import type { TestServer } from "./testServer.ts";

const levels = ["quarter", "hour", "day"] as const satisfies readonly HistoryLevel[];
const spanOf: Record<HistoryLevel, (at: Instant, zone: string) => RollupSpan> = {
  quarter: quarterOf,
  hour: hourOf,
  day: dayOf,
};

/** A feeder's stored roll-ups, byte for byte: "quarter 1796000000000 …". */
export function storedRollups({ connections }: TestServer, feeder: string): readonly string[] {
  const rows = connections.direct
    .prepare<[number], { span: number; from: number; rollup: Buffer }>(
      `SELECT "span", "from", "rollup" FROM "Rollup" WHERE "feederNo" = ?`,
    )
    .all(connections.feeders().number(feeder));
  return rows.map(({ span, from, rollup }) => `${levels[span]} ${from} ${rollup.toString("hex")}`).sort();
}

/** Those that its whole log gives, by the steps alone: each level merges for itself what closes, and no store has a part in it. */
export function rollupsOfLog({ connections }: TestServer, feeder: string): readonly string[] {
  const head = connections.feeders().head(feeder);
  const { zone } = connections.feeders().known(head).state.settings;
  const texts = new Map<string, string>();
  const save = (closed: readonly QuarterRollup[]) => {
    for (const { from, rollup } of closed) {
      for (const level of levels) {
        const key = `${level} ${spanOf[level](from, zone).from}`;
        const known = texts.get(key);
        texts.set(key, encodeRollup(known === undefined ? rollup : mergeRollups(decodeRollup(known), rollup)));
      }
    }
  };
  let stepped: SteppedState | null = null;
  for (let last = -1; last < head.revision; ) {
    const lines = connections.log().lines(head.no, last, head.revision, 1_000);
    stepped = rebuildState(stepped, lines, save);
    last = lines.at(-1)?.step ?? head.revision;
  }
  return [...texts].map(([key, text]) => `${key} ${withChecksum(Buffer.from(text, "latin1")).toString("hex")}`).sort();
}

function withChecksum(octets: Buffer): Buffer {
  const checksum = Buffer.alloc(4);
  checksum.writeUInt32LE(crc32(octets));
  return Buffer.concat([octets, checksum]);
}
