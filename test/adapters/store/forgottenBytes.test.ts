import { existsSync, readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { openTestServer } from "../../support/testServer.ts";

/** All bytes of the database's files: what a stolen card would show. */
const bytesOf = (file: string): Buffer =>
  Buffer.concat([file, `${file}-wal`].filter((path) => existsSync(path)).map((path) => readFileSync(path)));

const count = (bytes: Buffer, text: string): number => bytes.toString("latin1").split(text).length - 1;

describe("what was removed", () => {
  it("is in none of the database's bytes any more, nor in its log: a yard with its feeder and all that it reported", async () => {
    const house = await openTestServer();
    const { feeder, key } = await house.addFeeder({ name: "Rowan" });
    const kept = await house.addFeeder({ name: "Larch" });
    // Much, so that pages fill, split and become free; and a state that is written again and again.
    for (let round = 0; round < 12; round += 1) {
      const events = Array.from({ length: 200 }, (_, index) => ({
        seq: round * 200 + index + 1,
        uptimeMs: round * 60_000 + index,
        kind: index % 3 === 0 ? "trouble" : "press",
        words: `xylotheque-${round}-${index}-${"y".repeat(index)}`,
      }));
      const body = { boot: "b-xylotheque", sentUptimeMs: (round + 1) * 60_000, events };
      expect((await house.report(key, body)).status).toBe(200);
      expect((await house.report(kept.key, { ...body, boot: "b-juniper" })).status).toBe(200);
    }
    const yard = `/api/v1/yards/${house.yard}`;
    const named = { method: "PATCH" as const, url: yard, headers: house.keeper, payload: { name: "Xerophyte End" } };
    expect((await house.app.inject(named)).statusCode).toBe(200);
    const before = bytesOf(house.databaseFile);
    expect(count(before, "b-xylotheque")).toBeGreaterThan(100);
    expect(count(before, feeder.id)).toBeGreaterThan(100);

    const removed = await house.app.inject({
      method: "DELETE",
      url: `/api/v1/feeders/${feeder.id}`,
      headers: house.keeper,
    });
    expect(removed.statusCode).toBe(204);
    const after = bytesOf(house.databaseFile);
    expect(count(after, feeder.id)).toBe(0);
    expect(count(after, "b-xylotheque")).toBe(0);
    expect(count(after, "b-juniper")).toBeGreaterThan(100); // the other feeder's record is untouched

    await house.store.yards.removeYard(house.yard, null);
    const last = bytesOf(house.databaseFile);
    for (const text of ["b-juniper", "xylotheque", "Xerophyte End", "Larch", kept.feeder.id, house.yard]) {
      expect([text, count(last, text)]).toEqual([text, 0]);
    }
  });
});
