import { existsSync, readFileSync } from "node:fs";
import { describe, expect, it } from "vitest";
import { minutes } from "../../../server/domain/instant.ts";
import { storedRollups } from "../../support/rollups.ts";
import { openTestServer, type TestServer } from "../../support/testServer.ts";

/** All bytes of the database's files: what somebody with a stolen card can read. */
const bytesOf = (file: string): Buffer =>
  Buffer.concat([file, `${file}-wal`].filter((path) => existsSync(path)).map((path) => readFileSync(path)));

const count = (bytes: Buffer, text: string): number => bytes.toString("latin1").split(text).length - 1;

const rollupTexts = (server: TestServer, feeder: string) =>
  storedRollups(server, feeder).map((row) => Buffer.from(row.split(" ").at(-1) ?? "", "hex").toString("latin1"));

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
      const readings = { airCelsius: 20 + round, insideCelsius: 30 + round }; // so that its roll-ups are its own
      expect((await server.report(key, { ...body, readings })).status).toBe(200);
      expect((await server.report(larch.key, { ...body, boot: "b-juniper" })).status).toBe(200);
      server.clock.advance(minutes(30)); // a quarter closes
    }
    const yard = `/api/v1/yards/${server.yard}`;
    const named = { method: "PATCH" as const, url: yard, headers: server.keeper, payload: { name: "Xerophyte End" } };
    expect((await server.app.inject(named)).statusCode).toBe(200);
    const before = bytesOf(server.databaseFile);
    expect(count(before, "xylotheque-")).toBeGreaterThan(1_000);
    expect(count(before, "b-xylotheque")).toBeGreaterThan(10);
    expect(count(before, feeder.id)).toBeGreaterThan(0);

    const rollups = rollupTexts(server, feeder.id).filter((text) => text.length > 20);
    expect(rollups.length).toBeGreaterThan(10);
    expect(rollups.filter((text) => count(before, text) === 0)).toEqual([]);

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
    expect(rollups.filter((text) => count(after, text) > 0)).toEqual([]);
    expect(rollupTexts(server, larch.feeder.id).length).toBeGreaterThan(10);
    expect(count(after, "b-juniper")).toBeGreaterThan(10); // the other feeder's record is untouched

    await server.store.yards.removeYard(server.yard, null);
    const last = bytesOf(server.databaseFile);
    for (const text of ["b-juniper", "xylotheque", "Xerophyte End", "Larch", larch.feeder.id, server.yard]) {
      expect([text, count(last, text)]).toEqual([text, 0]);
    }
  }, 60_000);
});
