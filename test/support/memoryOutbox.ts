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
  readonly phase: "waiting" | "settled" | "delivered";
  readonly dueAt: Instant;
  readonly claimedUntil: Instant | null;
  readonly unsure: boolean;
}

/** A small outbox that keeps its promises in memory; held to them by outboxContract.ts, as the real one is. */
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

  enqueue(phone: Phone, feeder: string | null, notice: NotificationContent, now: Instant): void {
    this.#write({ ...this.#item(phone.keeper, feeder, notice, now), channel: "push", phone }, phone.id);
  }

  enqueueMail(person: string, to: string, feeder: string | null, notice: NotificationContent, now: Instant): void {
    const names = { yardName: "Alder Croft", feederName: feeder === null ? null : "Rowan" };
    this.#write({ ...this.#item(person, feeder, notice, now), channel: "email", to, ...names }, `mail ${person}`);
  }

  async claim(
    channel: Channel,
    now: Instant,
    claimUntil: Instant,
    most: number,
    lanes: DeliveryCapacity = unlimitedCapacity,
  ): Promise<readonly OutboxItem[]> {
    const needless = this.#due(channel, now).filter(({ item, screen }) => {
      return item.content.isClosing && item.attempts === 0 && !needsClosing(this.#meantBefore(item, screen));
    });
    for (const { item } of needless) this.#change(item.id, { phase: "settled" });
    const due = this.#due(channel, now).map((row) => ({
      row,
      ...exchangeOf(row.item),
      rank: rankOf(row.item.content),
    }));
    return fairShare(due, lanes, most)
      .map(({ row }) => row)
      .map(({ item, screen, claimedUntil, unsure }) => {
        const begun = { ...item, attempts: item.attempts + 1 };
        this.#change(item.id, { item: begun, claimedUntil: claimUntil, unsure: unsure || claimedUntil !== null });
        const content = { ...item.content, silent: item.content.silent && !this.#mustSound(item, screen) };
        if (item.channel === "email") return { ...item, content };
        return { ...item, content, phone: this.#phones.get(item.phone.id) ?? item.phone };
      });
  }

  async startClaimed(phone: Phone, notice: NotificationContent, now: Instant, claimUntil: Instant): Promise<PushItem> {
    const item: PushItem = { ...this.#item(phone.keeper, null, notice, now), channel: "push", phone };
    const row = { item: { ...item, attempts: 1 }, screen: phone.id, phase: "waiting" as const };
    this.#rows.push({ ...row, dueAt: now, claimedUntil: claimUntil, unsure: false });
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
    const doubt = settlement.kind !== "phoneGone" && "mayHaveArrived" in settlement;
    const unsure = row?.unsure === true || doubt;
    if (settlement.kind === "delivered") this.#change(item.id, { phase: "delivered" });
    else if (settlement.kind === "retry" && row?.phase === "waiting") {
      this.#change(item.id, { dueAt: settlement.notBefore, claimedUntil: null, unsure });
    } else this.#change(item.id, { phase: "settled", claimedUntil: null, unsure });
    const phone = item.channel === "push" ? this.#phones.get(item.phone.id) : undefined;
    if (phone === undefined) return;
    const told = settlement.kind === "delivered" ? { lastAcceptedAt: settlement.at, problem: null } : null;
    this.#phones.set(phone.id, {
      ...phone,
      ...(told ?? { problem: "problem" in settlement ? settlement.problem : null }),
    });
  }

  async nextDueAt(): Promise<Instant | null> {
    const waiting = this.#rows.filter(({ phase }) => phase === "waiting");
    const dues = waiting.map((row) => {
      const ahead = this.#before(row.item, row.screen).filter(({ phase }) => phase !== "delivered");
      return Math.max(row.dueAt, ...[row, ...ahead].map(({ claimedUntil }) => claimedUntil ?? row.dueAt));
    });
    return dues.length === 0 ? null : (Math.min(...dues) as Instant);
  }

  async prune(): Promise<void> {
    this.#rows = this.#rows.filter(({ phase }) => phase === "waiting");
  }

  #item(person: string, feeder: string | null, notice: NotificationContent, now: Instant) {
    return { id: `${this.#nextId++}`, person, yard: "alder", feeder, content: notice, writtenAt: now, attempts: 0 };
  }

  #write(item: OutboxItem, screen: string): void {
    this.#rows = this.#rows.map((row) =>
      row.screen === screen && row.item.content.topic === item.content.topic && row.phase === "waiting"
        ? { ...row, phase: "settled" }
        : row,
    );
    this.#rows.push({ item, screen, phase: "waiting", dueAt: item.writtenAt, claimedUntil: null, unsure: false });
  }

  #change(id: string, change: Partial<Row>): void {
    this.#rows = this.#rows.map((row) => (row.item.id === id ? { ...row, ...change } : row));
  }

  #due(channel: Channel, now: Instant): Row[] {
    const free = ({ claimedUntil }: Row) => claimedUntil === null || claimedUntil <= now;
    return this.#rows
      .filter((row) => row.phase === "waiting" && row.item.channel === channel && row.dueAt <= now && free(row))
      .filter(({ item, screen }) => this.#before(item, screen).every((row) => row.phase === "delivered" || free(row)))
      .sort((a, b) => a.dueAt - b.dueAt);
  }

  #before(item: OutboxItem, screen: string): Row[] {
    const place = this.#rows.findIndex((row) => row.item.id === item.id);
    return this.#rows
      .slice(0, place)
      .filter((row) => row.screen === screen && row.item.content.topic === item.content.topic);
  }

  #meantBefore(item: OutboxItem, screen: string) {
    return this.#before(item, screen)
      .reverse()
      .map(({ item: { content }, phase, claimedUntil, unsure }) => ({
        isClosing: content.isClosing === true,
        silent: content.silent,
        arrived: phase === "delivered" || unsure || claimedUntil !== null,
      }));
  }

  #mustSound(item: OutboxItem, screen: string): boolean {
    return item.content.isClosing !== true && needsSound(this.#meantBefore(item, screen));
  }
}

const exchangeOf = (item: OutboxItem) => ({
  person: item.person,
  service: item.channel === "email" ? "mail" : serviceOfEndpoint(item.phone.endpoint),
});
