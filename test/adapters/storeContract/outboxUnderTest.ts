import type { Instant } from "../../../server/domain/instant.ts";
import { instantOf, minutes, after as past } from "../../../server/domain/instant.ts";
import type { NotificationContent } from "../../../server/domain/notification/content.ts";
import type { EmailItem, OutboxItem, OutboxStore, Phone, PushItem } from "../../../server/ports.ts";
import { addAlder, addFeeder, alder, newFeederOf, newPhone } from "./contents.ts";
import type { StoreUnderTest } from "./storeUnderTest.ts";

/** An outbox of Ada, who keeps Alder Croft with Rowan, and short ways to fill it. */
export interface OutboxUnderTest extends Pick<StoreUnderTest, "openSecond"> {
  readonly store: OutboxStore;
  /** Adds a phone of Ada's. */
  addPhone(label: string): Promise<Phone>;
  /** The phone as it is stored now; null once it is gone. */
  phone(id: string): Promise<Phone | null>;
  /** Writes a notification for each of her phones. */
  enqueue(content: NotificationContent, now: Instant, about?: "feeder" | "yard"): Promise<void>;
  enqueueEmail(content: NotificationContent, now: Instant): Promise<void>;
}

export const start = instantOf("2026-11-25T06:30:00Z");
export const until = past(start, minutes(1));

export const onOutbox =
  (check: (outbox: OutboxUnderTest) => Promise<void>) =>
  async (opened: StoreUnderTest): Promise<void> =>
    check(await outboxOf(opened));

async function outboxOf({ store, openSecond }: StoreUnderTest): Promise<OutboxUnderTest> {
  await addAlder(store);
  await store.people.changeEmail("ada", "ada@alder.example", start);
  // Another feeder of the yard, so that a name shows whose it is.
  await store.yards.addFeeder(newFeederOf(alder.id, "larch", "Larch"), start);
  await addFeeder(store, "rowan");
  const write = (channel: "push" | "email", feeder: string | null, content: NotificationContent, now: Instant) =>
    store.transaction((tx) => tx.enqueue({ person: "ada", channel, yard: alder.id, feeder, content }, now));
  const phone = async (id: string) => (await store.keepers.phonesOf("ada")).find((one) => one.id === id) ?? null;
  return {
    store: store.outbox,
    openSecond,
    phone,
    async addPhone(label) {
      await store.keepers.savePhone({ ...newPhone(label, "ada"), label });
      const added = await phone(label);
      if (added === null) throw new Error("expected the phone that was just added");
      return added;
    },
    enqueue: (content, now, about) => write("push", about === "yard" ? null : "rowan", content, now),
    enqueueEmail: (content, now) => write("email", "rowan", content, now),
  };
}

export const claimAll = async (store: OutboxStore, at: Instant, claimUntil: Instant, most: number) => [
  ...(await store.claim("push", at, claimUntil, most)),
  ...(await store.claim("email", at, claimUntil, most)),
];
export const only = (items: readonly OutboxItem[]): PushItem => {
  const [item] = pushes(items);
  if (item === undefined || items.length !== 1) throw new Error(`expected one push, got ${items.length} items`);
  return item;
};
export const pushes = (items: readonly OutboxItem[]) =>
  items.filter((item): item is PushItem => item.channel === "push");
export const emails = (items: readonly OutboxItem[]) =>
  items.filter((item): item is EmailItem => item.channel === "email");
export const titles = (items: readonly OutboxItem[]) => items.map(({ content }) => content.title);
