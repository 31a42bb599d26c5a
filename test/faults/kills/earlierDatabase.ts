import { join } from "node:path";
import { hash } from "@node-rs/argon2";
import Database from "better-sqlite3";
import { makeSecrets } from "../../../server/adapters/secrets.ts";
import { migrate } from "../../../server/adapters/store/migrate.ts";
import { openStore } from "../../../server/adapters/store/prismaStore.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { instant } from "../../../server/domain/instant.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import { defaultSettings } from "../../../server/flows/pure/requestedSettings.ts";

const migrations = join(import.meta.dirname, "../../../prisma/sqlite/migrations");

/** A data folder as this version leaves it: a keeper, a yard, a feeder and a year of events. A later version migrates it. */
export async function createEarlierDatabase(
  dataDir: string,
  account: { readonly name: string; readonly passphrase: string },
): Promise<{ readonly feeder: string; readonly events: number }> {
  const file = join(dataDir, "pieward.db");
  migrate(file, migrations, "earlier");
  makeSecrets(dataDir);
  const now = instant(Date.now());
  const store = await openStore(`file:${file}`, rebuildState);
  await store.keepers.openFirstSignIn("firstSignIn", now);
  const keeper = { id: "ada", name: account.name, passphraseHash: await hash(account.passphrase) };
  await store.keepers.useFirstSignIn("firstSignIn", keeper, now);
  const place = {
    id: "yard",
    name: "Alder Croft",
    zone: "UTC",
    place: null,
    practice: false,
    escalateMinutes: 15,
    diseaseNotice: null,
    stillsKeptDays: 30,
  };
  await store.yards.addYard({ ...place, digestTime: "07:30", digestWanted: false }, keeper.id, now);
  const state = newFeeder(defaultSettings({ practice: false, place: null, zone: "UTC" }, "Rowan"), now);
  const feeder = { id: "rowan", yard: "yard", keyHash: "0".repeat(64), practice: false, state, firstEntry: "{}" };
  await store.yards.addFeeder(feeder, now);
  await store.close();
  const events = 20_000;
  addEvents(file, events, now);
  return { feeder: feeder.id, events };
}

/** One event a report. The feeder's head is not moved: what counts here is that no line is lost. */
function addEvents(file: string, count: number, at: number): void {
  const database = new Database(file);
  const insert = database.prepare(
    `INSERT INTO "LogLine" ("feederNo", "step", "at", "kind", "boot", "seqs", "firstEventAt", "lastEventAt", "readings", "events")
     VALUES (1, @seq, @at, 0, 'b-1', @seq, @at, @at, '{}', @events)`,
  );
  database.transaction(() => {
    for (let seq = 1; seq <= count; seq += 1) {
      insert.run({ seq, at, events: JSON.stringify([{ seq, uptimeMs: seq, kind: "visit" }]) });
    }
  })();
  database.close();
}
