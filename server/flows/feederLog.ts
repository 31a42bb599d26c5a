import { type Instant, isoOf } from "../domain/instant.ts";
import type { FeederRow, RecordStore } from "../ports.ts";
import { postedReports } from "./postedReports.ts";
import type { SaidAct } from "./pure/loggedActs.ts";
import { loggedOf } from "./pure/loggedSettings.ts";
import type { RecordLine } from "./recordLine.ts";

/**
 * A feeder's whole record, in the form that replay reads: JSON, a line each, in time order, the settings first. It is read a
 * page at a time, so that ten years cost no more memory than a day. It ends with the feeder's last step, so that a replay of
 * it ends in the very state of `row`.
 */
export async function* feederLog(records: RecordStore, row: FeederRow, now: Instant): AsyncGenerator<string> {
  const until = row.steppedAt ?? now;
  const [begun] = await records.acts(row.id, null, until, 1);
  const first = begun ? (JSON.parse(begun.said) as SaidAct) : { settings: loggedOf(row.state.settings) };
  yield textOf({ at: row.addedAt, said: first }, row);

  yield textOf({ at: row.addedAt, said: { patrol: "told" } }, row);
  const acts = inTimeOrder(actsInTime(records, row, until), looksInTime(records, row, until));
  for await (const line of inTimeOrder(postedReports(records, row, until), acts)) yield textOf(line, row);
}

function textOf({ at, said }: RecordLine, { id: feeder }: FeederRow): string {
  const when = "report" in said ? { receivedAt: isoOf(at) } : { at: isoOf(at) };
  return `${JSON.stringify({ ...when, feeder, ...said })}\n`;
}

/** No two are at the same moment: see `pure/nextMoment.ts`. */
async function* inTimeOrder(
  first: AsyncIterator<RecordLine>,
  second: AsyncIterator<RecordLine>,
): AsyncGenerator<RecordLine> {
  let [a, b] = [await first.next(), await second.next()];
  for (;;) {
    if (!a.done && (b.done || a.value.at <= b.value.at)) {
      yield a.value;
      a = await first.next();
    } else if (!b.done) {
      yield b.value;
      b = await second.next();
    } else return;
  }
}

const atOnce = 500;

/** Those after the first one, with which the log begins. */
async function* actsInTime(records: RecordStore, row: FeederRow, until: Instant): AsyncGenerator<RecordLine> {
  for (let last = row.addedAt; ; ) {
    const page = await records.acts(row.id, last, until, atOnce);
    for (const { at, said } of page) {
      yield { at, said: JSON.parse(said) as SaidAct };
      last = at;
    }
    if (page.length < atOnce) return;
  }
}

async function* looksInTime(records: RecordStore, { id }: FeederRow, until: Instant): AsyncGenerator<RecordLine> {
  for (let last: Instant | null = null; ; ) {
    const page: readonly Instant[] = await records.looks(id, last, until, atOnce);
    for (const at of page) yield { at, said: { patrol: "looked" } };
    last = page.at(-1) ?? last;
    if (page.length < atOnce) return;
  }
}
