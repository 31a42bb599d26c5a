import { randomBytes } from "node:crypto";
import type { Instant } from "../../../server/domain/instant.ts";
import { type EarlierNotification, needsClosing, needsSound } from "../../../server/domain/push/closing.ts";
import { fairShare, rankOf, serviceOfEndpoint, unlimitedCapacity } from "../../../server/domain/push/fairShare.ts";
import type { Channel, OutboxItem, OutboxStore, PushItem, Settlement } from "../../../server/ports.ts";
import { markLost, topicsOf } from "./lostNotifications.ts";
import type { Access } from "./memoryDatabase.ts";
import { makeEscalationsDue, yardsOf } from "./people.ts";
import { phoneFrom } from "./phones.ts";
import { removePhone } from "./removals.ts";
import { changeWhere, compareBy, type Item, removeWhere, rowOf, rowsWhere, type Tables } from "./tables.ts";

export const createOutbox = (access: Access): OutboxStore => ({ ...claims(access), ...settlements(access) });

const claims = ({ read, write }: Access): Pick<OutboxStore, "claim" | "startClaimed" | "nextDueAt"> => ({
  claim: (channel, now, claimUntil, most, capacity = unlimitedCapacity) =>
    write((tables) => {
      for (;;) {
        const due = dueItems(tables, channel, now).map((item) => ({ item, ...candidateOf(tables, item) }));
        const chosen = fairShare(due, capacity, most).map(({ item }) => item);
        const needless = chosen.filter((item) => isNeedless(tables, item));
        for (const { id } of needless) change(tables, id, { status: "needless", settledAt: now });
        if (needless.length > 0) continue; // ends, as each round has fewer of them
        return chosen.map((item) => claimItem(tables, item, claimUntil));
      }
    }),
  startClaimed: (phone, content, now, claimUntil) =>
    write((tables) => {
      rowOf(tables.phones, phone.id);
      const about = { yard: null, feeder: null, content };
      const item = newItem({ channel: "push", person: phone.keeper, phone: phone.id, ...about }, now);
      tables.items.set(item.id, { ...item, claimedUntil: claimUntil, sentTo: phone.endpoint, attempts: 1 });
      const { id, writtenAt, person } = item;
      return { id, channel: "push", person, ...about, phone, writtenAt, attempts: 0 } satisfies PushItem;
    }),
  async nextDueAt() {
    const moments = rowsWhere(read().items, ({ status }) => status === "waiting").map((item) => {
      const ahead = olderOnScreen(read(), item).filter(isUnsettled);
      return Math.max(item.dueAt, ...[item, ...ahead].map(({ claimedUntil }) => claimedUntil ?? item.dueAt));
    });
    return moments.length === 0 ? null : (Math.min(...moments) as Instant);
  },
});

type NewItem = Pick<Item, "channel" | "person" | "phone" | "yard" | "feeder" | "content">;

/** A display receipt names the item by its id, so nobody may guess it. */
export const newItem = (item: NewItem, now: Instant): Item => ({
  id: randomBytes(16).toString("hex"),
  ...item,
  ...{ writtenAt: now, dueAt: now, status: "waiting", claimedUntil: null, attempts: 0, mayHaveArrived: false },
  ...{ sentTo: null, settledAt: null, displayedAt: null },
});

const change = ({ items }: Tables, id: string, changes: Partial<Item>): void => {
  const item = items.get(id);
  if (item !== undefined) items.set(id, { ...item, ...changes });
};

function dueItems(tables: Tables, channel: Channel, now: Instant): Item[] {
  const isFree = ({ claimedUntil }: Item) => claimedUntil === null || claimedUntil <= now;
  return rowsWhere(
    tables.items,
    (item) => item.status === "waiting" && item.channel === channel && item.dueAt <= now && isFree(item),
  )
    .filter((item) => olderOnScreen(tables, item).filter(isUnsettled).every(isFree))
    .sort(compareBy(({ dueAt }) => dueAt));
}

/** It is being sent, or was replaced while it was. */
const isUnsettled = ({ status }: Item): boolean => status === "waiting" || status === "replaced";

/** Of the same topic for the same screen, in the order in which they were written. */
function olderOnScreen({ items }: Tables, item: Item): Item[] {
  const onScreen = rowsWhere(
    items,
    (other) =>
      other.person === item.person &&
      other.content.topic === item.content.topic &&
      other.channel === item.channel &&
      other.phone === item.phone,
  );
  return onScreen.slice(
    0,
    onScreen.findIndex(({ id }) => id === item.id),
  );
}

const candidateOf = ({ phones }: Tables, { person, phone, content }: Item) => ({
  person,
  service: phone === null ? "email" : serviceOfEndpoint(rowOf(phones, phone).endpoint),
  rank: rankOf(content),
});

const earlierNotifications = (tables: Tables, item: Item): EarlierNotification[] =>
  olderOnScreen(tables, item)
    .reverse()
    .map(({ content, status, mayHaveArrived, claimedUntil }) => ({
      isClosing: content.isClosing === true,
      silent: content.silent,
      arrived: status === "delivered" || mayHaveArrived || claimedUntil !== null,
    }));

/** Only before the first attempt: after it, the item may have arrived. */
const isNeedless = (tables: Tables, item: Item): boolean =>
  item.content.isClosing === true && item.attempts === 0 && !needsClosing(earlierNotifications(tables, item));

function claimItem(tables: Tables, item: Item, claimedUntil: Instant): OutboxItem {
  const phone = item.phone === null ? null : rowOf(tables.phones, item.phone);
  change(tables, item.id, {
    claimedUntil,
    attempts: item.attempts + 1,
    mayHaveArrived: item.mayHaveArrived || item.claimedUntil !== null, // that claim ran out and was never settled
    sentTo: phone?.endpoint ?? null,
  });
  const { id, person, yard, feeder, writtenAt, attempts, content } = item;
  const sounds = content.isClosing !== true && needsSound(earlierNotifications(tables, item));
  const base = { id, person, yard, feeder, writtenAt, attempts };
  const sent = { ...base, content: { ...content, silent: content.silent && !sounds } };
  if (phone !== null) return { ...sent, channel: "push", phone: phoneFrom(phone) };
  const feederName = feeder === null ? null : (tables.feeders.get(feeder)?.state.settings.name ?? null);
  const yardName = yard === null ? null : (tables.yards.get(yard)?.name ?? null);
  return { ...sent, channel: "email", to: rowOf(tables.people, person).email, yardName, feederName };
}

const settlements = ({ write }: Access): Pick<OutboxStore, "settle" | "prune"> => ({
  settle: (item, settlement) => write((tables) => settle(tables, item, settlement)),
  prune: (settledBefore) =>
    write((tables) => {
      removeWhere(
        tables.items,
        ({ settledAt, content }) =>
          settledAt !== null && settledAt < settledBefore && !tables.escalations.has(content.topic),
      );
    }),
});

function settle(tables: Tables, item: OutboxItem, settlement: Settlement): void {
  if (item.channel === "push") {
    if (settlement.kind === "phoneGone") {
      if (recordGonePhone(tables, item.phone, settlement.at)) sendAgain(tables, item.id, settlement.at);
      return;
    }
    const isRenewed = (tables.phones.get(item.phone.id)?.endpoint ?? item.phone.endpoint) !== item.phone.endpoint;
    if (isRenewed && settlement.kind !== "delivered") {
      // That was the previous endpoint: the present one has not been tried.
      sendAgain(tables, item.id, settlement.kind === "retry" ? settlement.notBefore : settlement.at);
      return;
    }
  }
  settleItem(tables, item.id, settlement);
  if (item.channel === "push") updatePhone(tables, item.phone, settlement);
  if (settlement.kind !== "givenUp") return;
  markLost(tables, { person: item.person, channel: item.channel, topics: [item.content.topic] }, settlement.at);
}

function sendAgain(tables: Tables, id: string, dueAt: Instant): void {
  if (tables.items.get(id)?.status === "waiting") change(tables, id, { claimedUntil: null, dueAt });
}

function settleItem(tables: Tables, id: string, settlement: Settlement): void {
  const item = tables.items.get(id);
  if (item === undefined) return;
  if (settlement.kind === "delivered") {
    if (isUnsettled(item)) change(tables, id, { status: "delivered", settledAt: settlement.at });
    return;
  }
  const isUncertain = settlement.kind !== "phoneGone" && settlement.mayHaveArrived === true;
  change(tables, id, { claimedUntil: null, mayHaveArrived: item.mayHaveArrived || isUncertain });
  if (item.status !== "waiting") return; // a newer one has replaced it
  if (settlement.kind === "retry") change(tables, id, { dueAt: settlement.notBefore });
  else change(tables, id, { status: "givenUp", settledAt: settlement.at });
}

function updatePhone(tables: Tables, { id, endpoint }: PushItem["phone"], settlement: Settlement): void {
  const isIt = (phone: PushItem["phone"]) => phone.id === id && phone.endpoint === endpoint;
  if (settlement.kind === "delivered")
    changeWhere(tables.phones, isIt, { lastAcceptedAt: settlement.at, problem: null });
  else changeWhere(tables.phones, isIt, { problem: settlement.problem });
}

/** How many gone endpoints are remembered: as many as the real store does. */
const goneEndpointsMax = 500;

/** @returns whether the phone has a newer endpoint */
function recordGonePhone(tables: Tables, { id, endpoint, keeper, label }: PushItem["phone"], at: Instant): boolean {
  const known = tables.phones.get(id);
  const isItself = known?.endpoint === endpoint;
  if (!tables.gonePhones.has(endpoint)) {
    tables.gonePhones.set(endpoint, {
      ...{ endpoint, goneAt: at, keeper: known?.keeper ?? keeper, label: known?.label ?? label },
      ...{ phone: isItself ? id : null, addedAt: known?.addedAt ?? at },
    });
  }
  const newest = [...tables.gonePhones.values()].sort(compareBy(({ goneAt }) => -goneAt));
  for (const old of newest.slice(goneEndpointsMax)) tables.gonePhones.delete(old.endpoint);
  if (isItself) {
    const topics = topicsOf(tables, id);
    removePhone(tables, id);
    markLost(tables, { person: known.keeper, channel: "push", topics }, at);
  }
  makeEscalationsDue(tables, yardsOf(tables, keeper), at);
  return known !== undefined && !isItself;
}
