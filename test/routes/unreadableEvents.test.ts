import { describe, expect, it } from "vitest";
import type { Answer } from "../../server/contract/report.ts";
import { minutes } from "../../server/domain/instant.ts";
import { openTestServer } from "../support/testServer.ts";

const press = (seq: number) => ({ seq, uptimeMs: seq, kind: "press" });
const unreadable = (seq: unknown) => ({ seq, uptimeMs: -1, kind: "press" });
const report = (...events: object[]) => ({ boot: "b-1", sentUptimeMs: 60_000, events });

/** Each: what was stored before, what comes now, and up to which number all events were seen. */
const cases: [string, object[], object[], number | null][] = [
  ["far ahead of what came with it", [], [press(1), press(2), unreadable(9_000)], 2],
  ["one number too far", [], [press(1), press(2), unreadable(4)], 2],
  ["at the very end of the numbers", [], [press(1), unreadable(Number.MAX_SAFE_INTEGER)], 1],
  ["far ahead and alone", [press(1)], [unreadable(9_000)], null],
  ["far ahead, before a readable one", [], [unreadable(9_000), press(1)], 1],
  ["right after the events that came with it", [], [press(1), press(2), unreadable(3)], 3],
  ["several in a row", [], [press(1), unreadable(2), unreadable(3), unreadable(4)], 4],
  ["several in a row, listed from the end", [], [unreadable(4), unreadable(3), unreadable(2), press(1)], 4],
  ["between readable ones", [], [press(1), unreadable(2), press(3)], 3],
  ["right after the stored events, alone", [press(1), press(2)], [unreadable(3)], 3],
  ["the first of all, alone", [], [unreadable(1)], 1],
  ["a repeat below what is stored", [press(1), press(2), press(3)], [unreadable(2)], 2],
];

describe("an event that can't be read", () => {
  it.each(cases)("%s: `storedThrough` covers only what was seen", async (_, before, now, through) => {
    const server = await openTestServer();
    const { key } = await server.addFeeder();
    if (before.length > 0) await server.report(key, report(...before));
    const answer = (await server.report(key, report(...now))).body as Answer;
    expect(answer.storedThrough).toBe(through);
    expect(answer.refused).toHaveLength(now.filter((event) => "uptimeMs" in event && event.uptimeMs === -1).length);
  });

  it("doesn't lose the numbers between, which come later", async () => {
    const server = await openTestServer();
    const { key, feeder } = await server.addFeeder();
    const spool = new Map<number, object>([1, 2, 3, 4, 5].map((seq) => [seq, press(seq)]));
    const send = async (...events: object[]) => {
      server.clock.advance(minutes(1));
      const { storedThrough } = (await server.report(key, report(...events))).body as Answer;
      for (const seq of [...spool.keys()]) if (storedThrough !== null && seq <= storedThrough) spool.delete(seq);
    };
    await send(press(1), press(2), unreadable(4_000_000)); // one bit of its number was damaged on the card
    expect([...spool.keys()]).toEqual([3, 4, 5]);
    await send(...spool.values());
    expect([...spool.keys()]).toEqual([]);
    const stored = await server.store.records.events(feeder.id, 0 as never, 4e12 as never, 100);
    expect(stored.map(({ seq }) => seq).sort()).toEqual([1, 2, 3, 4, 5]);
  });
});
