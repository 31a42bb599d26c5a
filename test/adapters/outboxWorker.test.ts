import { describe, expect, it, vi } from "vitest";
import { createOutboxWorker } from "../../server/adapters/outboxWorker.ts";
import type { Instant } from "../../server/domain/instant.ts";

/** Rounds that end when the test ends them. */
function heldRounds(nextDueAt: () => Instant | null = () => null) {
  const ends: (() => void)[] = [];
  const deliver = () =>
    new Promise<{ nextDueAt: Instant | null }>((resolve) => ends.push(() => resolve({ nextDueAt: nextDueAt() })));
  return { ends, deliver };
}
const soon = () => new Promise((resolve) => setImmediate(resolve));
const unexpected = (error: unknown) => expect.unreachable(String(error));

describe("the outbox worker", () => {
  it("does not let an urgent notification wait for a round that hangs", () => {
    const worker = createOutboxWorker(() => 0);
    const { ends, deliver } = heldRounds();
    worker.start(deliver, unexpected);
    worker.notify();
    worker.notify();
    expect(ends).toHaveLength(2);
  });

  it("begins no more than 80 rounds at once, and another one later where it was notified meanwhile", async () => {
    const worker = createOutboxWorker(() => 0);
    const { ends, deliver } = heldRounds();
    worker.start(deliver, unexpected);
    for (let count = 0; count < 90; count += 1) worker.notify();
    expect(ends).toHaveLength(80);
    ends[0]?.();
    await soon();
    expect(ends).toHaveLength(81);
  });

  it("begins a round when the next item comes due", async () => {
    vi.useFakeTimers({ toFake: ["setTimeout", "clearTimeout"] });
    try {
      const worker = createOutboxWorker(() => 1_000);
      const due: (Instant | null)[] = [31_000 as Instant, null];
      const { ends, deliver } = heldRounds(() => due.shift() ?? null);
      worker.start(deliver, unexpected);
      worker.notify();
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

  it("reports a round that failed, and continues", async () => {
    const worker = createOutboxWorker(() => 0);
    const errors: unknown[] = [];
    let rounds = 0;
    worker.start(
      async () => {
        rounds += 1;
        throw new Error("the store is gone");
      },
      (error) => errors.push(error),
    );
    worker.notify();
    await soon();
    worker.notify();
    await soon();
    expect(rounds).toBe(2);
    expect(errors.map(String)).toEqual(["Error: the store is gone", "Error: the store is gone"]);
  });

  it("does nothing before the start and after the end, and waits for rounds that have begun", async () => {
    const worker = createOutboxWorker(() => 0);
    worker.notify();
    const { ends, deliver } = heldRounds();
    const stop = worker.start(deliver, unexpected);
    worker.notify();
    let stopped = false;
    const stopping = stop().then(() => {
      stopped = true;
    });
    worker.notify();
    await soon();
    expect([ends.length, stopped]).toEqual([1, false]);
    ends[0]?.();
    await stopping;
    expect(stopped).toBe(true);
  });
});
