import { randomUUID } from "node:crypto";
import { rmSync } from "node:fs";
import { inject } from "vitest";
import { openStore } from "../../../server/adapters/store/prismaStore.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { instantOf } from "../../../server/domain/instant.ts";
import type { Notice } from "../../../server/domain/notification.ts";
import { defaultSettings } from "../../../server/flows/pure/requestedSettings.ts";
import { copyDatabase } from "../../support/migratedDatabase.ts";
import { describeOutboxStore, type OutboxUnderTest } from "../../support/outboxContract.ts";
import { describeOutboxSharing } from "../../support/outboxSharing.ts";

const start = instantOf("2026-11-25T06:00:00Z");

const onSqlite = async (): Promise<OutboxUnderTest> => {
  const { folder, file } = copyDatabase(inject("migratedDatabase"));
  const [store, second] = [await openStore(`file:${file}`), await openStore(`file:${file}`)];
  const keeper = { id: "keeper", name: "Keeper", passphraseHash: "-" };
  await store.keepers.openFirstSignIn("claim", start);
  await store.keepers.useFirstSignIn("claim", keeper, start);
  const mail = "ada@alder.example";
  await store.people.changeEmail(keeper.id, mail, start);
  const yard = { id: "alder", name: "Alder Croft", zone: "Europe/Stockholm", place: null, practice: false };
  const digest = { digestTime: "07:30", digestWanted: false };
  await store.yards.addYard({ ...yard, ...digest, escalateMinutes: 15 }, keeper.id, start);
  const state = newFeeder(defaultSettings({ ...yard }, "Rowan"), start);
  const rowan = { id: "rowan-000000", yard: yard.id, keyHash: "hash", practice: false, state, said: "{}" };
  await store.yards.addFeeder(rowan, start);
  const told = (by: "push" | "email", feeder: string | null, notice: Notice) => {
    return { person: keeper.id, by, yard: yard.id, feeder, notice };
  };
  const phones = () => store.keepers.phonesOf(keeper.id);
  return {
    store: store.outbox,
    second: second.outbox,
    async addPhone(label) {
      const id = randomUUID();
      const endpoint = `https://push.example/${id}`;
      await store.keepers.savePhone({ id, keeper: keeper.id, endpoint, p256dh: "p", auth: "a", label, addedAt: start });
      const added = (await phones()).find((phone) => phone.id === id);
      if (!added) throw new Error("expected the phone that was just added");
      return added;
    },
    phone: async (id) => (await phones()).find((phone) => phone.id === id) ?? null,
    enqueue: (notice, now, about) =>
      store.transaction((tx) => tx.enqueue(told("push", about === "yard" ? null : rowan.id, notice), now)),
    enqueueMail: (notice, now) => store.transaction((tx) => tx.enqueue(told("email", rowan.id, notice), now)),
    async close() {
      await second.close();
      await store.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
};

describeOutboxStore("SQLite", onSqlite);
describeOutboxSharing("SQLite", onSqlite);
