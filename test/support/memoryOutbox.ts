import type { Instant } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import { needsClosing, needsSound } from "../../server/domain/push/closing.ts";
import {
  type DeliveryCapacity,
  fairShare,
  rankOf,
  serviceOfEndpoint,
  unlimitedCapacity,
} from "../../server/domain/push/fairShare.ts";
import type { Channel, OutboxItem, OutboxStore, Phone, PushItem, Settlement } from "../../server/ports.ts";

interface Row {
  readonly item: OutboxItem;
  readonly screen: string;
  readonly status: "waiting" | "settled" | "delivered";
  readonly dueAt: Instant;
  readonly claimedUntil: Instant | null;
  readonly mayHaveArrived: boolean;
}

/** A small outbox in memory; outboxContract.ts tests it as it tests the real one. */
export class InMemoryOutbox implements OutboxStore {
  readonly settled: { readonly item: OutboxItem; readonly settlement: Settlement }[] = [];
  readonly #phones = new Map<string, Phone>();
  #rows: Row[] = []; // in the order in which they were written
  #nextId = 1;

  addPhone(phone: Phone): void {
    this.#phones.set(phone.id, phone);
  }

  phone(id: string): Phone | null {
    return this.#phones.get(id) ?? null;
  }

  enqueue(phone: Phone, feeder: string | null, content: NotificationContent, now: Instant): void {
    this.#write({ ...this.#item(phone.keeper, feeder, content, now), channel: "push", phone }, phone.id);
  }

  enqueueEmail(person: string, to: string, feeder: string | null, content: NotificationContent, now: Instant): void {
    const names = { yardName: "Alder Croft", feederName: feeder === null ? null : "Rowan" };
    this.#write({ ...this.#item(person, feeder, content, now), channel: "email", to, ...names }, `email ${person}`);
  }

  async claim(
    channel: Channel,
    now: Instant,
    claimUntil: Instant,
    most: number,
    capacity: DeliveryCapacity = unlimitedCapacity,
  ): Promise<readonly OutboxItem[]> {
    const needless = this.#due(channel, now).filter(({ item, screen }) => {
      return item.content.isClosing && item.attempts === 0 && !needsClosing(this.#earlierNotifications(item, screen));
    });
    for (const { item } of needless) this.#change(item.id, { status: "settled" });
    const due = this.#due(channel, now).map((row) => ({
      row,
      ...deliveryOf(row.item),
      rank: rankOf(row.item.content),
    }));
    return fairShare(due, capacity, most)
      .map(({ row }) => row)
      .map(({ item, screen, claimedUntil, mayHaveArrived }) => {
        const begun = { ...item, attempts: item.attempts + 1 };
        this.#change(item.id, {
          item: begun,
          claimedUntil: claimUntil,
          mayHaveArrived: mayHaveArrived || claimedUntil !== null,
        });
        const content = { ...item.content, silent: item.content.silent && !this.#needsSound(item, screen) };
        if (item.channel === "email") return { ...item, content };
        return { ...item, content, phone: this.#phones.get(item.phone.id) ?? item.phone };
      });
  }

  async startClaimed(phone: Phone, content: NotificationContent, now: Instant, claimUntil: Instant): Promise<PushItem> {
    const item: PushItem = { ...this.#item(phone.keeper, null, content, now), channel: "push", phone };
    const row = { item: { ...item, attempts: 1 }, screen: phone.id, status: "waiting" as const };
    this.#rows.push({ ...row, dueAt: now, claimedUntil: claimUntil, mayHaveArrived: false });
    return item;
  }

  async settle(item: OutboxItem, settlement: Settlement): Promise<void> {
    this.settled.push({ item, settlement });
    if (settlement.kind === "phoneGone" && item.channel === "push") {
      this.#phones.delete(item.phone.id);
      this.#rows = this.#rows.filter(({ screen }) => screen !== item.phone.id);
      return;
    }
    const row = this.#rows.find((one) => one.item.id === item.id);
    const isUncertain = settlement.kind !== "phoneGone" && "mayHaveArrived" in settlement;
    const mayHaveArrived = row?.mayHaveArrived === true || isUncertain;
    if (settlement.kind === "delivered") this.#change(item.id, { status: "delivered" });
    else if (settlement.kind === "retry" && row?.status === "waiting") {
      this.#change(item.id, { dueAt: settlement.notBefore, claimedUntil: null, mayHaveArrived });
    } else this.#change(item.id, { status: "settled", claimedUntil: null, mayHaveArrived });
    const phone = item.channel === "push" ? this.#phones.get(item.phone.id) : undefined;
    if (phone === undefined) return;
    const accepted = settlement.kind === "delivered" ? { lastAcceptedAt: settlement.at, problem: null } : null;
    this.#phones.set(phone.id, {
      ...phone,
      ...(accepted ?? { problem: "problem" in settlement ? settlement.problem : null }),
    });
  }

  async nextDueAt(): Promise<Instant | null> {
    const waiting = this.#rows.filter(({ status }) => status === "waiting");
    const dues = waiting.map((row) => {
      const ahead = this.#before(row.item, row.screen).filter(({ status }) => status !== "delivered");
      return Math.max(row.dueAt, ...[row, ...ahead].map(({ claimedUntil }) => claimedUntil ?? row.dueAt));
    });
    return dues.length === 0 ? null : (Math.min(...dues) as Instant);
  }

  async prune(): Promise<void> {
    this.#rows = this.#rows.filter(({ status }) => status === "waiting");
  }

  #item(person: string, feeder: string | null, content: NotificationContent, now: Instant) {
    return { id: `${this.#nextId++}`, person, yard: "alder", feeder, content, writtenAt: now, attempts: 0 };
  }

  #write(item: OutboxItem, screen: string): void {
    this.#rows = this.#rows.map((row) =>
      row.screen === screen && row.item.content.topic === item.content.topic && row.status === "waiting"
        ? { ...row, status: "settled" }
        : row,
    );
    this.#rows.push({
      item,
      screen,
      status: "waiting",
      dueAt: item.writtenAt,
      claimedUntil: null,
      mayHaveArrived: false,
    });
  }

  #change(id: string, change: Partial<Row>): void {
    this.#rows = this.#rows.map((row) => (row.item.id === id ? { ...row, ...change } : row));
  }

  #due(channel: Channel, now: Instant): Row[] {
    const free = ({ claimedUntil }: Row) => claimedUntil === null || claimedUntil <= now;
    return this.#rows
      .filter((row) => row.status === "waiting" && row.item.channel === channel && row.dueAt <= now && free(row))
      .filter(({ item, screen }) => this.#before(item, screen).every((row) => row.status === "delivered" || free(row)))
      .sort((a, b) => a.dueAt - b.dueAt);
  }

  #before(item: OutboxItem, screen: string): Row[] {
    const place = this.#rows.findIndex((row) => row.item.id === item.id);
    return this.#rows
      .slice(0, place)
      .filter((row) => row.screen === screen && row.item.content.topic === item.content.topic);
  }

  #earlierNotifications(item: OutboxItem, screen: string) {
    return this.#before(item, screen)
      .reverse()
      .map(({ item: { content }, status, claimedUntil, mayHaveArrived }) => ({
        isClosing: content.isClosing === true,
        silent: content.silent,
        arrived: status === "delivered" || mayHaveArrived || claimedUntil !== null,
      }));
  }

  #needsSound(item: OutboxItem, screen: string): boolean {
    return item.content.isClosing !== true && needsSound(this.#earlierNotifications(item, screen));
  }
}

const deliveryOf = (item: OutboxItem) => ({
  person: item.person,
  service: item.channel === "email" ? "email" : serviceOfEndpoint(item.phone.endpoint),
});
