import { cpSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import Database from "better-sqlite3";
import { describe, expect, it, onTestFinished } from "vitest";
import { migrate } from "../../../server/adapters/store/migrate.ts";

const migrations = join(import.meta.dirname, "../../../prisma/sqlite/migrations");
const then = "2026-01-02T10:00:00.000+00:00";

/** A database from before yards had people of their own, brought up to date. */
function oldHouse(): Database.Database {
  const folder = mkdtempSync(join(tmpdir(), "pieward-old-"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  const file = join(folder, "pieward.db");
  const before = readdirSync(migrations).filter((name) => /^\d/.test(name) && name < "20261125193000");
  expect(before).toHaveLength(2);
  for (const name of before) cpSync(join(migrations, name), join(folder, "before", name), { recursive: true });
  migrate(file, join(folder, "before"), "old");
  const old = new Database(file);
  old.exec(`
    INSERT INTO "Yard" VALUES ('alder', 'Alder Croft', 'Europe/Stockholm', 59.5, 17.8, '07:30', 1, 0, '${then}'),
      ('practice', 'Practice', 'UTC', NULL, NULL, '07:30', 0, 1, '${then}');
    INSERT INTO "Keeper" VALUES ('ada', 'Ada', '-', '${then}'), ('bo', 'Bo', '-', '${then}');
    INSERT INTO "Session" VALUES ('hash', 'ada', '${then}', '${then}', '${then}');
    INSERT INTO "Feeder" ("id", "yardId", "keyHash", "state", "nextLookAt", "createdAt")
      VALUES ('rowan', 'alder', 'key', '{}', '${then}', '${then}');
    INSERT INTO "Digest" VALUES ('alder', '2026-01-02', '${then}', 'A quiet day', '[]');
    INSERT INTO "AlarmChange" VALUES ('c-1', 'rowan', 'foodLow', 'soon', 'suspected', 'unacknowledged', '${then}', 'low');
    INSERT INTO "Phone" VALUES ('pocket', 'bo', 'https://push.example/1', 'p', 'a', 'Pocket', '${then}', NULL, NULL);
    INSERT INTO "OutboxItem" VALUES ('o-1', 'pocket', 'rowan', 't-1', '{"title":"Rowan: food low"}', '${then}', 'waiting',
      '${then}', NULL, 3, NULL, 'HTTP 503'), ('o-2', 'pocket', NULL, 't-2', '{}', '${then}', 'delivered', '${then}', NULL, 1, '${then}', NULL);
  `);
  old.close();
  migrate(file, migrations, "new");
  const database = new Database(file);
  onTestFinished(() => {
    database.close();
  });
  return database;
}

describe("a database from before yards had people", () => {
  it("keeps its yards with their feeders and digests, and lets fifteen minutes pass before the next person is told", () => {
    const database = oldHouse();
    const all = (table: string) => database.prepare(`SELECT * FROM "${table}"`).all();
    expect(all("Yard")).toMatchObject([
      { id: "alder", escalateMinutes: 15 },
      { id: "practice", escalateMinutes: 15 },
    ]);
    expect(all("Feeder")).toMatchObject([{ id: "rowan", yardId: "alder" }]);
    expect(all("Digest")).toMatchObject([{ title: "A quiet day" }]);
    expect(all("Session")).toHaveLength(1);
    expect(all("AlarmChange")).toMatchObject([{ id: "c-1", reason: "low", present: 1 }]);
    expect(database.pragma("foreign_key_check")).toEqual([]);
  });

  it("has each of its keepers keep every yard, all told first and together, as it was", () => {
    const members = oldHouse().prepare(`SELECT * FROM "Member" ORDER BY "yardId", "keeperId"`).all();
    expect(members).toHaveLength(4);
    expect(
      members.map((member) =>
        Object.values(member as object)
          .slice(0, 2)
          .join(" "),
      ),
    ).toEqual(["alder ada", "alder bo", "practice ada", "practice bo"]);
    for (const member of members) {
      expect(member).toMatchObject({ role: "keeper", turn: 1, quietFrom: null, quietTo: null, urgentBreaks: 1 });
      expect(member).toMatchObject({ digestBy: "push", createdAt: expect.stringMatching(/^20.*T.*\+00:00$/) });
    }
  });

  it("loses no notice that was on its way, and knows whose phone it goes to", () => {
    const items = oldHouse().prepare(`SELECT * FROM "OutboxItem" ORDER BY "id"`).all();
    expect(items).toMatchObject([
      { id: "o-1", channel: "push", keeperId: "bo", phoneId: "pocket", yardId: "alder", phase: "waiting", attempts: 3 },
      { id: "o-2", channel: "push", keeperId: "bo", phoneId: "pocket", yardId: null, phase: "delivered", closes: 0 },
    ]);
    expect(items[0]).toMatchObject({ feederId: "rowan", problem: "HTTP 503", notice: '{"title":"Rowan: food low"}' });
  });
});
