import { cpSync, mkdirSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { hash } from "@node-rs/argon2";
import Database from "better-sqlite3";
import { makeSecrets } from "../../../server/adapters/secrets.ts";
import { migrate } from "../../../server/adapters/store/migrate.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { instant } from "../../../server/domain/instant.ts";
import { defaultSettings } from "../../../server/flows/pure/requestedSettings.ts";
import type { RandomSource } from "../../../server/practice/random.ts";

const migrations = join(import.meta.dirname, "../../../prisma/sqlite/migrations");

/** A data folder as an earlier version left it: a keeper, a yard, a feeder and a year of events. */
export async function createOlderDatabase(
  dataDir: string,
  account: { readonly name: string; readonly passphrase: string },
  chance: RandomSource,
): Promise<{ readonly feeder: string; readonly events: number }> {
  makeSecrets(dataDir);
  const file = join(dataDir, "pieward.db");
  const names = readdirSync(migrations)
    .filter((name) => /^\d/.test(name))
    .sort();
  const kept = names.slice(0, 1 + Math.floor(chance.uniform() * 2)); // before people belonged to yards
  const earlier = mkdtempSync(join(tmpdir(), "pieward-earlier-"));
  for (const name of kept) cpSync(join(migrations, name), join(earlier, name), { recursive: true });
  mkdirSync(earlier, { recursive: true });
  migrate(file, earlier, "earlier");
  rmSync(earlier, { recursive: true });

  const now = new Date().toISOString().replace("Z", "+00:00");
  const database = new Database(file);
  const insert = (sql: string, ...values: unknown[]) => database.prepare(sql).run(...values);
  insert(
    'INSERT INTO "Keeper" ("id", "name", "passphraseHash", "createdAt") VALUES (?, ?, ?, ?)',
    "ada",
    account.name,
    await hash(account.passphrase),
    now,
  );
  insert(
    'INSERT INTO "Yard" ("id", "name", "zone", "createdAt") VALUES (?, ?, ?, ?)',
    "yard",
    "Alder Croft",
    "UTC",
    now,
  );
  const settings = defaultSettings({ practice: false, place: null, zone: "UTC" }, "Rowan");
  const state = JSON.stringify(newFeeder(settings, instant(Date.now())));
  insert(
    'INSERT INTO "Feeder" ("id", "yardId", "keyHash", "state", "nextLookAt", "createdAt") VALUES (?, ?, ?, ?, ?, ?)',
    "rowan",
    "yard",
    "0".repeat(64),
    state,
    now,
    now,
  );
  const events = 20_000;
  const event = database.prepare(
    'INSERT INTO "Event" ("feederId", "boot", "seq", "kind", "receivedAt", "recordedAt", "body") VALUES (?, ?, ?, ?, ?, ?, ?)',
  );
  database.transaction(() => {
    for (let seq = 1; seq <= events; seq += 1) {
      event.run("rowan", "b-1", seq, "visit", now, now, JSON.stringify({ seq, uptimeMs: seq, kind: "visit" }));
    }
  })();
  database.close();
  return { feeder: "rowan", events };
}
