import { randomUUID } from "node:crypto";
import { rmSync } from "node:fs";
import { inject } from "vitest";
import { openStore } from "../../../server/adapters/store/prismaStore.ts";
import { instantOf } from "../../../server/domain/instant.ts";
import { copyDatabase } from "../../support/migratedDatabase.ts";
import { describeOutboxStore } from "../../support/outboxContract.ts";

const start = instantOf("2026-11-25T06:00:00Z");

describeOutboxStore("SQLite", async () => {
  const { folder, file } = copyDatabase(inject("migratedDatabase"));
  const [store, second] = [await openStore(`file:${file}`), await openStore(`file:${file}`)];
  const keeper = { id: "keeper", name: "Keeper", passphraseHash: "-" };
  await store.keepers.openClaim("claim", start);
  await store.keepers.useClaim("claim", keeper, start);
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
      store.transaction((tx) => tx.enqueue("yard", about === "yard" ? null : "rowan-000000", notice, now)),
    async close() {
      await second.close();
      await store.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
});
