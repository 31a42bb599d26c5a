import { randomUUID } from "node:crypto";
import { rmSync } from "node:fs";
import { inject } from "vitest";
import { openStore } from "../../../server/adapters/store/prismaStore.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { instantOf } from "../../../server/domain/instant.ts";
import type { NotificationContent } from "../../../server/domain/notification/content.ts";
import { rebuildState } from "../../../server/flows/pure/rebuildState.ts";
import { defaultSettings } from "../../../server/flows/pure/requestedSettings.ts";
import { copyDatabase } from "../../support/migratedDatabase.ts";
import { describeOutboxStore, type OutboxUnderTest } from "../../support/outboxContract.ts";
import { describeOutboxSharing } from "../../support/outboxSharing.ts";

const start = instantOf("2026-11-25T06:00:00Z");

const onSqlite = async (): Promise<OutboxUnderTest> => {
  const { folder, file } = copyDatabase(inject("migratedDatabase"));
  const [store, second] = [
    await openStore(`file:${file}`, rebuildState),
    await openStore(`file:${file}`, rebuildState),
  ];
  const keeper = { id: "keeper", name: "Keeper", passphraseHash: "-" };
  await store.keepers.openFirstSignIn("firstSignIn", start);
  await store.keepers.useFirstSignIn("firstSignIn", keeper, start);
  const email = "ada@alder.example";
  await store.people.changeEmail(keeper.id, email, start);
  const yard = { id: "alder", name: "Alder Croft", zone: "Europe/Stockholm", place: null, practice: false };
  const digest = { digestTime: "07:30", digestWanted: false };
  await store.yards.addYard({ ...yard, ...digest, escalateMinutes: 15 }, keeper.id, start);
  const feeder = (id: string, name: string) => {
    const state = newFeeder(defaultSettings({ ...yard }, name), start);
    return { id, yard: yard.id, keyHash: `hash of ${id}`, practice: false, state, firstEntry: "{}" };
  };
  const rowan = feeder("rowan-000000", "Rowan");
  // Another feeder of the yard, so that a name shows whose it is.
  await store.yards.addFeeder(feeder("larch-000000", "Larch"), start);
  await store.yards.addFeeder(rowan, start);
  const notificationBy = (channel: "push" | "email", feeder: string | null, content: NotificationContent) => {
    return { person: keeper.id, channel, yard: yard.id, feeder, content };
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
    enqueue: (content, now, about) =>
      store.transaction((tx) => tx.enqueue(notificationBy("push", about === "yard" ? null : rowan.id, content), now)),
    enqueueEmail: (content, now) =>
      store.transaction((tx) => tx.enqueue(notificationBy("email", rowan.id, content), now)),
    async close() {
      await second.close();
      await store.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
};

describeOutboxStore("SQLite", onSqlite);
describeOutboxSharing("SQLite", onSqlite);
