import { statSync } from "node:fs";
import { expect, it } from "vitest";
import { minutes } from "../../../server/domain/instant.ts";
import { openTestServer } from "../../support/testServer.ts";

/** A memory card wears by the pages that are written: a frame of the write-ahead log holds one (sqlite.org/fileformat2.html#walformat). */
const frameHeader = 24;

it.each([
  ["no event", 0],
  ["one event", 1],
])(
  "a report with %s writes less than 10 kB, snapshots and the count of commits included",
  async (_, eventCount) => {
    const server = await openTestServer();
    const added: { readonly key: string }[] = [];
    for (let index = 0; index < 10; index += 1) added.push(await server.addFeeder({ name: `Rowan ${index}` }));
    const send = async (from: number, reports: number) => {
      for (let number = from; number < from + reports; number += 1) {
        server.clock.advance(minutes(1));
        for (const { key } of added) {
          const sentUptimeMs = number * 60_000;
          const event = {
            seq: number,
            uptimeMs: sentUptimeMs - 5_000,
            kind: "portion",
            cause: "press",
            motorMs: 900,
            chuteCount: 3,
          };
          const readings = { hopperGrams: 900 - number, airCelsius: -6.2, humidityPercent: 88, paused: false };
          const body = { boot: "b-1", sentUptimeMs, readings, events: Array.from({ length: eventCount }, () => event) };
          expect((await server.report(key, body)).status).toBe(200);
        }
      }
    };
    await send(1, 40); // the first reports change settings and raise alarms
    const { direct } = server.connections;
    direct.pragma("wal_autocheckpoint = 0");
    direct.pragma("wal_checkpoint(TRUNCATE)");
    await send(41, 64);
    const pageSize = direct.pragma("page_size", { simple: true }) as number;
    const pages = statSync(`${server.databaseFile}-wal`).size / (pageSize + frameHeader);
    expect((pages * pageSize) / (64 * added.length)).toBeLessThan(10_000);
  },
  60_000,
);
