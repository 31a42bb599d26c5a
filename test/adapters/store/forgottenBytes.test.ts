import { existsSync, readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { openTestServer } from "../../support/testServer.ts";

/** All bytes of the database's files: what somebody with a stolen card can read. */
const bytesOf = (file: string): Buffer =>
  Buffer.concat([file, `${file}-wal`].filter((path) => existsSync(path)).map((path) => readFileSync(path)));

const count = (bytes: Buffer, text: string): number => bytes.toString("latin1").split(text).length - 1;

describe("what was removed", () => {
  it("is in none of the database's bytes, nor in its log: a yard with its feeder and all that it reported", async () => {
    const server = await openTestServer();
    const { feeder, key } = await server.addFeeder({ name: "Rowan" });
    const larch = await server.addFeeder({ name: "Larch" });
    // Much, so that pages fill, split and become free; and a state that is written many times.
    for (let round = 0; round < 12; round += 1) {
      const events = Array.from({ length: 200 }, (_, index) => ({
        seq: round * 200 + index + 1,
        uptimeMs: round * 60_000 + index,
        kind: index % 3 === 0 ? "trouble" : "press",
        words: `xylotheque-${round}-${index}-${"y".repeat(index)}`,
      }));
      const body = { boot: "b-xylotheque", sentUptimeMs: (round + 1) * 60_000, events };
      expect((await server.report(key, body)).status).toBe(200);
      expect((await server.report(larch.key, { ...body, boot: "b-juniper" })).status).toBe(200);
    }
    const yard = `/api/v1/yards/${server.yard}`;
    const named = { method: "PATCH" as const, url: yard, headers: server.keeper, payload: { name: "Xerophyte End" } };
    expect((await server.app.inject(named)).statusCode).toBe(200);
    const before = bytesOf(server.databaseFile);
    expect(count(before, "xylotheque-")).toBeGreaterThan(1_000);
    expect(count(before, "b-xylotheque")).toBeGreaterThan(10);
    expect(count(before, feeder.id)).toBeGreaterThan(0);

    const removed = await server.app.inject({
      method: "DELETE",
      url: `/api/v1/feeders/${feeder.id}`,
      headers: server.keeper,
    });
    expect(removed.statusCode).toBe(204);
    const after = bytesOf(server.databaseFile);
    expect(count(after, feeder.id)).toBe(0);
    expect(count(after, "b-xylotheque")).toBe(0);
    expect(count(after, "xylotheque-")).toBeGreaterThan(500);
    expect(count(after, "b-juniper")).toBeGreaterThan(10); // the other feeder's record is untouched

    await server.store.yards.removeYard(server.yard, null);
    const last = bytesOf(server.databaseFile);
    for (const text of ["b-juniper", "xylotheque", "Xerophyte End", "Larch", larch.feeder.id, server.yard]) {
      expect([text, count(last, text)]).toEqual([text, 0]);
    }
  });
});
