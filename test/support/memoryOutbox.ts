import { initialRollups } from "../../server/domain/history/rollups.ts";
import type { Instant } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import type { OutboxItem, OutboxStore, Phone, Settlement } from "../../server/ports.ts";
import { alder, newFeederOf, now as start } from "../adapters/storeContract/contents.ts";
import { MemoryDatabase } from "./memoryStore/memoryDatabase.ts";
import { createMemoryStore } from "./memoryStore/memoryStore.ts";
import { newItem } from "./memoryStore/outbox.ts";
import { phoneFrom } from "./memoryStore/phones.ts";
import { changeWhere, type Item, type Tables } from "./memoryStore/tables.ts";

/** The outbox of a memory store, to which a test adds phones and items one by one. What it adds is there for the next claim. */
export interface MemoryOutbox extends OutboxStore {
  readonly settled: readonly { readonly item: OutboxItem; readonly settlement: Settlement }[];
  addPhone(phone: Phone): void;
  phone(id: string): Phone | null;
  enqueue(phone: Phone, feeder: string | null, content: NotificationContent, now: Instant): void;
  enqueueEmail(person: string, to: string, feeder: string | null, content: NotificationContent, now: Instant): void;
}

export function createMemoryOutbox(): MemoryOutbox {
  const database = new MemoryDatabase();
  const { outbox } = createMemoryStore(database);
  const settled: { readonly item: OutboxItem; readonly settlement: Settlement }[] = [];
  const write = (work: (tables: Tables) => void) => void database.write(work);
  write(({ yards, feeders }) => {
    yards.set(alder.id, { ...alder, createdAt: start });
    const times = { addedAt: start, lastReportAt: null, lastStepAt: null, rebuiltAt: null, nextCheckAt: start };
    feeders.set("rowan", {
      ...newFeederOf(alder.id, "rowan"),
      ...times,
      revision: 0,
      problem: null,
      rollups: initialRollups(),
    });
  });
  return {
    ...outbox,
    settled,
    settle(item, settlement) {
      settled.push({ item, settlement });
      return outbox.settle(item, settlement);
    },
    addPhone: (phone) =>
      write((tables) => {
        addPerson(tables, phone.keeper, null);
        tables.phones.set(phone.id, { ...phone, endpointSince: null });
      }),
    phone(id) {
      const found = database.read().phones.get(id);
      return found === undefined ? null : phoneFrom(found);
    },
    enqueue: ({ id, keeper }, feeder, content, now) =>
      write((tables) =>
        addItem(tables, newItem({ channel: "push", person: keeper, phone: id, yard: alder.id, feeder, content }, now)),
      ),
    enqueueEmail: (person, to, feeder, content, now) =>
      write((tables) => {
        addPerson(tables, person, to);
        addItem(tables, newItem({ channel: "email", person, phone: null, yard: alder.id, feeder, content }, now));
      }),
  };
}

const addPerson = ({ people }: Tables, id: string, email: string | null) =>
  people.set(id, {
    ...{ id, name: id, nameKey: id, passphraseHash: "-", email, emailSince: null },
    createdAt: start,
  });

/** It replaces what waits of its topic for its screen. */
function addItem({ items }: Tables, added: Item): void {
  const isReplaced = ({ phone, person, channel, content, status }: Item) =>
    phone === added.phone &&
    person === added.person &&
    channel === added.channel &&
    content.topic === added.content.topic &&
    status === "waiting";
  changeWhere(items, isReplaced, { status: "replaced", settledAt: added.writtenAt });
  items.set(added.id, added);
}
