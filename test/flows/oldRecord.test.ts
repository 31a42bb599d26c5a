import { cpSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { describe, expect, it, onTestFinished } from "vitest";
import { migrate } from "../../server/adapters/store/migrate.ts";
import { openStore } from "../../server/adapters/store/prismaStore.ts";
import { newFeeder } from "../../server/domain/feeder.ts";
import { instant, instantOf } from "../../server/domain/instant.ts";
import { feederLog } from "../../server/flows/feederLog.ts";
import { loggedOf } from "../../server/flows/pure/loggedSettings.ts";
import { usualSettings, withSaid } from "../../server/flows/pure/saidSettings.ts";
import type { FeederRow } from "../../server/ports.ts";
import { replayed } from "../replay/replayed.ts";

const migrations = join(import.meta.dirname, "../../prisma/sqlite/migrations");
const place = { latitudeDegrees: 59.5, longitudeDegrees: 17.8 };
const yard = { practice: false, place, zone: "Europe/Stockholm" };
const settings = withSaid(usualSettings(yard, "Rowan"), {
  ...{ warnAheadDays: 1.5, portionGrams: 2.25, food: "peanuts", hopperCapacityGrams: 1_000, battery: "none" },
});

/** A database as the first version left it, with a feeder's record of some days, then brought up to date. */
async function oldHouse() {
  const folder = mkdtempSync(join(tmpdir(), "pieward-old-"));
  const file = join(folder, "pieward.db");
  const [first] = readdirSync(migrations).sort();
  cpSync(join(migrations, first as string), join(folder, "migrations", first as string), { recursive: true });
  migrate(file, join(folder, "migrations"), "old");
  const database = new Database(file);
  const state = JSON.stringify(newFeeder(settings, instantOf("2026-01-01T00:00:00Z")));
  database.exec(`
    INSERT INTO "Yard" VALUES ('alder', 'Alder Croft', 'Europe/Stockholm', 59.5, 17.8, '07:30', 1, 0, '2026-01-01T00:00:00.000+00:00');
    INSERT INTO "Heartbeat" VALUES
      ('rowan', '2026-01-02T10:00:00.000+00:00', 'b-1', 60000, '{"airCelsius":-3}'),
      ('rowan', '2026-01-02T10:01:00.000+00:00', 'b-1', 120000, '{}');
    INSERT INTO "Event" VALUES
      ('rowan', 'b-1', 1, 'visit', '2026-01-02T10:00:00.000+00:00', '2026-01-02T09:59:30.000+00:00', '{"seq":1,"uptimeMs":30000,"kind":"visit"}'),
      ('rowan', 'b-1', 2, 'visit', '2026-01-02T10:01:00.000+00:00', '2026-01-02T10:00:30.000+00:00', '{"seq":2,"uptimeMs":90000,"kind":"visit"}');
    INSERT INTO "Refill" VALUES ('r-1', 'rowan', '2026-01-02T10:00:20.000+00:00', 400, 'told', 'Asta');
    INSERT INTO "Order" VALUES ('o-1', 'rowan', 'pause', NULL, '2026-01-02T10:00:40.000+00:00', 'Asta', 'asked', NULL, NULL, NULL);
  `);
  database
    .prepare(
      `INSERT INTO "Feeder" ("id", "yardId", "keyHash", "state", "nextLookAt", "createdAt") VALUES ('rowan', 'alder', 'k', ?, ?, ?)`,
    )
    .run(state, "2026-01-02T10:11:00.000+00:00", "2026-01-01T00:00:00.000+00:00");
  database.close();
  migrate(file, migrations, "now");
  const store = await openStore(`file:${file}`);
  onTestFinished(async () => {
    await store.close();
    rmSync(folder, { recursive: true, force: true });
  });
  const row = (await store.yards.feeder("rowan")) as FeederRow;
  return { store, row };
}

async function linesOf(lines: AsyncIterable<string>) {
  const all: string[] = [];
  for await (const line of lines) all.push(line);
  return { text: all.join(""), lines: all.map((line) => JSON.parse(line)) };
}

describe("a record from before acts were kept", () => {
  it("is told as well as it can be, and says from when on it is whole", async () => {
    const { store, row } = await oldHouse();
    const { text, lines } = await linesOf(feederLog(store.records, row, instant(Date.now())));
    expect(lines[0]).toEqual({ at: "2026-01-01T00:00:00.000Z", feeder: "rowan", settings: loggedOf(settings) });
    expect(lines.slice(1, -1)).toMatchObject([
      { receivedAt: "2026-01-02T10:00:00.000Z", report: { events: [{ seq: 1 }], readings: { airCelsius: -3 } } },
      { at: "2026-01-02T10:00:20.000Z", keeper: { by: "Asta", refill: { grams: 400 } } },
      { at: "2026-01-02T10:00:40.000Z", keeper: { by: "Asta", pause: { id: "o-1" } } },
      { receivedAt: "2026-01-02T10:01:00.000Z", report: { events: [{ seq: 2 }] } },
    ]);
    expect(lines.at(-1)).toMatchObject({ feeder: "rowan", patrol: "told" });
    expect(replayed(text).replay.stateOf("rowan")?.hopper.known).toBe(true);
  });
});
