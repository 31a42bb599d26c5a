import { describe, expect, it, vi } from "vitest";
import { createOutboxWorker } from "../../server/adapters/outboxWorker.ts";
import type { Instant } from "../../server/domain/instant.ts";

/** Rounds that end when the test says so. */
function heldRounds(nextDueAt: () => Instant | null = () => null) {
  const ends: (() => void)[] = [];
  const deliver = () =>
    new Promise<{ nextDueAt: Instant | null }>((resolve) => ends.push(() => resolve({ nextDueAt: nextDueAt() })));
  return { ends, deliver };
}
const soon = () => new Promise((resolve) => setImmediate(resolve));
const unexpected = (error: unknown) => expect.unreachable(String(error));

describe("the outbox bell", () => {
  it("does not let an urgent notice wait behind a round that hangs", () => {
    const bell = createOutboxWorker(() => 0);
    const { ends, deliver } = heldRounds();
    bell.start(deliver, unexpected);
    bell.notify();
    bell.notify();
    expect(ends).toHaveLength(2);
  });

  it("begins no more than 80 rounds at once, and forgets no ring", async () => {
    const bell = createOutboxWorker(() => 0);
    const { ends, deliver } = heldRounds();
    bell.start(deliver, unexpected);
    for (let count = 0; count < 90; count += 1) bell.notify();
    expect(ends).toHaveLength(80);
    ends[0]?.();
    await soon();
    expect(ends).toHaveLength(81);
  });

  it("rings itself when the outbox says that something comes due", async () => {
    vi.useFakeTimers({ toFake: ["setTimeout", "clearTimeout"] });
    try {
      const bell = createOutboxWorker(() => 1_000);
      const due: (Instant | null)[] = [31_000 as Instant, null];
      const { ends, deliver } = heldRounds(() => due.shift() ?? null);
      bell.start(deliver, unexpected);
      bell.notify();
      ends[0]?.();
      await soon();
      vi.advanceTimersByTime(29_999);
      expect(ends).toHaveLength(1);
      vi.advanceTimersByTime(1);
      expect(ends).toHaveLength(2);
    } finally {
      vi.useRealTimers();
    }
  });

  it("tells a round that failed, and goes on", async () => {
    const bell = createOutboxWorker(() => 0);
    const told: unknown[] = [];
    let rounds = 0;
    bell.start(
      async () => {
        rounds += 1;
        throw new Error("the store is gone");
      },
      (error) => told.push(error),
    );
    bell.notify();
    await soon();
    bell.notify();
    await soon();
    expect(rounds).toBe(2);
    expect(told.map(String)).toEqual(["Error: the store is gone", "Error: the store is gone"]);
  });

  it("is silent before it is answered and after it stopped, and waits for what is under way", async () => {
    const bell = createOutboxWorker(() => 0);
    bell.notify();
    const { ends, deliver } = heldRounds();
    const stop = bell.start(deliver, unexpected);
    bell.notify();
    let stopped = false;
    const stopping = stop().then(() => {
      stopped = true;
    });
    bell.notify();
    await soon();
    expect([ends.length, stopped]).toEqual([1, false]);
    ends[0]?.();
    await stopping;
    expect(stopped).toBe(true);
  });
});
