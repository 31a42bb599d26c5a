import { later, minutes } from "../../../server/domain/instant.ts";
import type { Recipient } from "../../../server/domain/notification/escalation.ts";
import type { EscalationStore, NotificationTransaction } from "../../../server/ports.ts";
import type { Access } from "./memoryDatabase.ts";
import { newItem } from "./outbox.ts";
import { membersOf } from "./people.ts";
import {
  changeWhere,
  compareBy,
  rowOf,
  rowsWhere,
  type StoredMember,
  type StoredPhone,
  type Tables,
} from "./tables.ts";

export const createEscalations = ({ read }: Access): EscalationStore => ({
  async due(now, most) {
    const due = [...read().escalations].flatMap(([topic, { nextAt }]) =>
      nextAt !== null && nextAt <= now ? [{ topic, nextAt }] : [],
    );
    return due
      .sort(compareBy(({ nextAt }) => nextAt))
      .slice(0, most)
      .map(({ topic }) => topic);
  },
  async ofYard(yard) {
    const found = rowsWhere(read().escalations, (stored) => stored.yard === yard).map(({ escalation }) => escalation);
    return found.sort(compareBy(({ topic }) => topic));
  },
});

/** What is written about notifications in an open transaction. */
export const notificationTransaction = (tables: Tables): NotificationTransaction => ({
  ...escalations(tables),
  ...recipients(tables),
  enqueue: enqueueTo(tables),
  saveDisplayReceipt: displayReceipts(tables),
});

const escalations = (tables: Tables): Pick<NotificationTransaction, "escalation" | "saveEscalation"> => ({
  async escalation(topic) {
    return tables.escalations.get(topic)?.escalation ?? null;
  },
  async saveEscalation(topic, escalation, nextAt) {
    if (escalation === null) {
      tables.escalations.delete(topic);
      return;
    }
    const { yard, feeder } = escalation;
    rowOf(tables.yards, yard);
    tables.escalations.set(topic, { yard, feeder, escalation, nextAt });
  },
});

const recipients = (tables: Tables): Pick<NotificationTransaction, "yardName" | "recipients"> => ({
  async yardName(yard) {
    return tables.yards.get(yard)?.name ?? null;
  },
  async recipients(yard) {
    const found = tables.yards.get(yard);
    if (found === undefined) return null;
    const people = membersOf(tables, yard).map((member) => recipientOf(tables, member));
    return { zone: found.zone, escalateAfter: minutes(found.escalateMinutes), people };
  },
});

const phoneSince = ({ endpointSince, addedAt }: StoredPhone) => endpointSince ?? addedAt;

/** Phones that may show notifications. */
const reachablePhones = (tables: Tables, person: string): StoredPhone[] =>
  rowsWhere(tables.phones, ({ keeper, blockedAt }) => keeper === person && blockedAt === null);

function recipientOf(tables: Tables, { person, escalationOrder, quietHours, urgentBreaks }: StoredMember): Recipient {
  const { id, name, email, emailSince } = rowOf(tables.people, person);
  const phones = reachablePhones(tables, person);
  const phonesSince = phones.length === 0 ? null : phones.map(phoneSince).reduce(later);
  const settings = { escalationOrder, quietHours, urgentBreaks };
  return { id, name, ...settings, phoneCount: phones.length, phonesSince, email, emailSince };
}

function enqueueTo(tables: Tables): NotificationTransaction["enqueue"] {
  return async ({ person, channel, yard, feeder, content, phonesAfter }, now) => {
    const isNewPhone = (phone: StoredPhone) => phonesAfter === undefined || phoneSince(phone) > phonesAfter;
    const isReplaced = (phone: string | null) =>
      phonesAfter === undefined || (phone !== null && isNewPhone(rowOf(tables.phones, phone)));
    changeWhere(
      tables.items,
      (item) =>
        item.person === person &&
        item.content.topic === content.topic &&
        item.channel === channel &&
        item.status === "waiting" &&
        isReplaced(item.phone),
      { status: "replaced", settledAt: now },
    );
    const screens = channel === "email" ? [null] : reachablePhones(tables, person).filter(isNewPhone);
    for (const screen of screens) {
      const item = newItem({ channel, person, phone: screen?.id ?? null, yard, feeder, content }, now);
      if (tables.people.has(person)) tables.items.set(item.id, item);
    }
  };
}

function displayReceipts(tables: Tables): NotificationTransaction["saveDisplayReceipt"] {
  return async (id, statedAt) => {
    const item = tables.items.get(id);
    if (item?.channel !== "push") return null;
    const { person, content, writtenAt, displayedAt, sentTo, settledAt } = item;
    if (displayedAt !== null) return { person, topic: content.topic, at: displayedAt };
    const at = later(statedAt, writtenAt);
    tables.items.set(id, { ...item, displayedAt: at, status: "delivered", settledAt: settledAt ?? at });
    changeWhere(
      tables.phones,
      (phone) => phone.id === item.phone && phone.endpoint === sentTo && (phone.lastDisplayedAt ?? 0) < at,
      { lastDisplayedAt: at },
    );
    return { person, topic: content.topic, at };
  };
}
