import type { Notice } from "../../server/domain/facts.ts";
import type { Instant } from "../../server/domain/instant.ts";
import type { OutboxItem, OutboxStore, Phone, Settlement } from "../../server/ports.ts";

interface Row {
  readonly item: OutboxItem;
  readonly dueAt: Instant;
  readonly claimedUntil: Instant | null;
}

/** A small outbox that keeps its promises in memory; held to them by outboxContract.ts, as the real one is. */
export class MemoryOutbox implements OutboxStore {
  readonly settled: { readonly item: OutboxItem; readonly settlement: Settlement }[] = [];
  readonly #phones = new Map<string, Phone>();
  #rows: Row[] = [];
  #nextId = 1;

  addPhone(phone: Phone): void {
    this.#phones.set(phone.id, phone);
  }

  phone(id: string): Phone | null {
    return this.#phones.get(id) ?? null;
  }

  enqueue(phone: Phone, feeder: string | null, notice: Notice, now: Instant): void {
    this.#rows = this.#rows.filter(({ item }) => item.phone.id !== phone.id || item.notice.topic !== notice.topic);
    const item: OutboxItem = { id: `${this.#nextId++}`, phone, feeder, notice, writtenAt: now, attempts: 0 };
    this.#rows.push({ item, dueAt: now, claimedUntil: null });
  }

  async claim(now: Instant, claimUntil: Instant, most: number): Promise<readonly OutboxItem[]> {
    const claimed: OutboxItem[] = [];
    const free = this.#rows
      .filter((row) => row.dueAt <= now && (row.claimedUntil === null || row.claimedUntil <= now))
      .sort((a, b) => a.dueAt - b.dueAt)
      .slice(0, most);
    this.#rows = this.#rows.map((row) => {
      if (!free.includes(row)) return row;
      claimed.push({ ...row.item, phone: this.#phones.get(row.item.phone.id) ?? row.item.phone });
      return { ...row, item: { ...row.item, attempts: row.item.attempts + 1 }, claimedUntil: claimUntil };
    });
    return claimed;
  }

  async settle(item: OutboxItem, settlement: Settlement): Promise<void> {
    this.settled.push({ item, settlement });
    const phone = this.#phones.get(item.phone.id);
    if (settlement.kind === "phoneGone") {
      this.#phones.delete(item.phone.id);
      this.#rows = this.#rows.filter((row) => row.item.phone.id !== item.phone.id);
    } else if (settlement.kind === "retry") {
      this.#rows = this.#rows.map((row) =>
        row.item.id === item.id ? { ...row, dueAt: settlement.notBefore, claimedUntil: null } : row,
      );
      if (phone) this.#phones.set(phone.id, { ...phone, problem: settlement.problem });
    } else {
      this.#rows = this.#rows.filter((row) => row.item.id !== item.id);
      if (phone && settlement.kind === "delivered") {
        this.#phones.set(phone.id, { ...phone, lastAcceptedAt: settlement.at, problem: null });
      } else if (phone && settlement.kind === "givenUp") {
        this.#phones.set(phone.id, { ...phone, problem: settlement.problem });
      }
    }
  }

  async nextDueAt(): Promise<Instant | null> {
    const dues = this.#rows.map((row) => Math.max(row.dueAt, row.claimedUntil ?? row.dueAt));
    return dues.length === 0 ? null : (Math.min(...dues) as Instant);
  }
}
