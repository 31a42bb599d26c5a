import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { after, type Instant, instantOf, minutes, seconds } from "../../../server/domain/instant.ts";
import type { EventContent, Portion } from "../../../server/domain/report.ts";
import { boutsOf } from "../../../server/domain/training/bouts.ts";
import { contingency } from "../../../server/domain/training/contingency.ts";
import { keptShare } from "../../../server/domain/training/keptShare.ts";
import { type LedgerRules, ledgerOf } from "../../../server/domain/training/promises.ts";
import { sessionsOf, trialsOf } from "../../../server/domain/training/sessions.ts";
import type { TrainingEvent } from "../../../server/domain/training/trainingEvent.ts";

const start = instantOf("2026-12-03T09:00:00Z");
const at = (secondsLater: number): Instant => after(start, seconds(secondsLater));
const owed: LedgerRules = { pressesArePromises: true, isPaused: () => false };

/** Events by second, with seq from 1 on. */
function events(...of: readonly (readonly [second: number, content: EventContent])[]): readonly TrainingEvent[] {
  return of.map(([second, content], index) => ({ ...content, boot: "b-1", seq: index + 1, recordedAt: at(second) }));
}
const deposit = (more: object = {}): EventContent => ({
  kind: "deposit",
  metal: true,
  signal: null,
  chute: null,
  ...more,
});
const press = (more: object = {}): EventContent => ({ kind: "press", ...more });
const portion = (more: Partial<Portion> = {}): EventContent => ({
  kind: "portion",
  cause: "deposit",
  paysFor: null,
  motorRan: seconds(0.9),
  meanCurrent: null,
  peakCurrent: null,
  chuteCount: 3,
  lowestSupply: null,
  ...more,
});
const visit: EventContent = { kind: "visit" };

describe("the ledger of promises", () => {
  it("pays a deposit by the portion that names it, with its latency", () => {
    const { promises, unexplainedPortions } = ledgerOf(events([0, deposit()], [1.5, portion({ paysFor: 1 })]), owed);
    expect(promises).toEqual([
      { act: "deposit", at: at(0), key: "b-1 1", outcome: "paid", latency: seconds(1.5), portion: "b-1 2" },
    ]);
    expect(unexplainedPortions).toBe(0);
  });

  it("pays by cause within ten seconds where a portion names nothing", () => {
    const paid = ledgerOf(events([0, press()], [9, portion({ cause: "press" })]), owed);
    expect(paid.promises[0]?.outcome).toBe("paid");
    const late = ledgerOf(events([0, press()], [11, portion({ cause: "press" })]), owed);
    expect(late.promises[0]?.outcome).toBe("noPortion");
    expect(late.unexplainedPortions).toBe(1);
  });

  it("pays what the feeder promised within two minutes, and leaves the next one its own portion where the first was empty", () => {
    const queued = ledgerOf(
      events([0, deposit({ earns: true })], [4, deposit({ earns: true })], [30, portion()], [60, portion()]),
      owed,
    );
    expect(queued.promises.map(({ latency }) => latency)).toEqual([seconds(30), seconds(56)]);
    const empty = ledgerOf(
      events(
        ...([
          [0, deposit({ earns: true })],
          [1, portion({ chuteCount: 0 })],
        ] as const),
        ...([
          [9, deposit({ earns: true })],
          [9.5, portion()],
        ] as const),
      ),
      owed,
    );
    expect(empty.promises.map(({ outcome }) => outcome)).toEqual(["empty", "paid"]);
  });

  it("doesn't take a portion of another boot with the same number for the payment", () => {
    const [first, second] = events([0, deposit()], [1, portion({ paysFor: 1 })]);
    if (first === undefined || second === undefined) throw new Error("expected two events");
    expect(ledgerOf([first, { ...second, boot: "b-2" }], owed).promises[0]?.outcome).toBe("noPortion");
  });

  it.each([
    ["empty", { chuteCount: 0 }],
    ["empty", { motorRan: seconds(0) }],
    ["cutShort", { cutShort: true as const }],
  ])("says %s where the portion failed (%o), and takes the next try", (outcome, failed) => {
    const once = events([0, deposit()], [1, portion({ paysFor: 1, ...failed })]);
    expect(ledgerOf(once, owed).promises[0]).toMatchObject({ outcome, portion: "b-1 2" });
    const again = events([0, deposit()], [1, portion({ paysFor: 1, ...failed })], [4, portion({ paysFor: 1 })]);
    expect(ledgerOf(again, owed).promises[0]).toMatchObject({ outcome: "paid", latency: seconds(4) });
  });

  it("counts two detections of one cap once", () => {
    const twice = events([0, deposit()], [1.5, deposit()], [2, portion({ paysFor: 2 })]);
    expect(ledgerOf(twice, owed).promises).toMatchObject([{ outcome: "paid", key: "b-1 1" }]);
  });

  it("owes nothing for what earns nothing, what was rejected, and what came in a pause; a promise in a pause stays one", () => {
    const paused: LedgerRules = { ...owed, isPaused: () => true };
    const ledger = ledgerOf(
      events(
        [0, deposit({ metal: false })],
        [10, deposit({ earns: false })],
        [20, deposit()],
        [30, deposit({ earns: true })],
      ),
      paused,
    );
    expect(ledger).toMatchObject({ rejectedDeposits: 1, notOwed: 2 });
    expect(ledger.promises).toHaveLength(1);
  });

  it("takes presses for promises only where each press is paid, or the feeder says so", () => {
    const rules: LedgerRules = { ...owed, pressesArePromises: false };
    const ledger = ledgerOf(events([0, press()], [60, press({ earns: true })]), rules);
    expect(ledger).toMatchObject({ notOwed: 1, promises: [{ at: at(60) }] });
  });

  it("keeps free food apart, and leaves out a bench run", () => {
    const ledger = ledgerOf(
      events(
        [0, portion({ cause: "timer" })],
        [60, portion({ cause: "keeper", chuteCount: 0 })],
        [90, portion({ cause: "bench" })],
      ),
      owed,
    );
    expect(ledger).toMatchObject({ freePortions: [at(0)], unexplainedPortions: 0, promises: [] });
  });

  it("has each portion pay one promise at most, whatever comes", () => {
    const kinds = fc.constantFrom<EventContent>(
      deposit(),
      press(),
      portion(),
      portion({ cause: "press" }),
      portion({ chuteCount: 0 }),
      portion({ paysFor: 1 }),
      portion({ paysFor: 3 }),
    );
    fc.assert(
      fc.property(fc.array(fc.tuple(fc.integer({ min: 0, max: 200 }), kinds), { maxLength: 30 }), (drawn) => {
        const sorted = [...drawn].sort((a, b) => a[0] - b[0]);
        const { promises } = ledgerOf(events(...sorted), owed);
        const used = promises.flatMap((promise) => promise.portion ?? []);
        expect(new Set(used).size).toBe(used.length);
        for (const { outcome, latency } of promises) expect(latency === null).toBe(outcome === "noPortion");
      }),
      { numRuns: 300 },
    );
  });
});

describe("the share of promises kept", () => {
  it("has Wilson's interval and the latencies of what was paid", () => {
    const made = ledgerOf(
      events(
        [0, deposit()],
        [1, portion({ paysFor: 1 })],
        [60, deposit()],
        [63, portion({ paysFor: 3 })],
        [120, deposit()],
        [180, deposit()],
        [182, portion({ paysFor: 6 })],
      ),
      owed,
    );
    const kept = keptShare(made.promises);
    expect(kept).toMatchObject({ promised: 4, paid: 3, share: 0.75 });
    expect(kept.limits.low).toBeCloseTo(0.3006, 3); // Wilson, 3 of 4
    expect(kept.latency).toEqual({ p50: 2_000, p95: 2_900, worst: 3_000 });
    expect(keptShare([])).toMatchObject({ share: null, latency: null, limits: { low: 0, high: 1 } });
  });
});

describe("bouts and trials", () => {
  const morning = events(
    [0, visit],
    [20, visit],
    [40, press()],
    [341, visit], // 301 s later: another bout
    [400, deposit({ metal: false })], // a leaf is no act, and no bird
    [1_000, deposit()],
  );

  it("begin anew after five minutes without a bird", () => {
    expect(boutsOf(morning).map(({ visits, presses, deposits }) => [visits, presses, deposits])).toEqual([
      [2, 1, 0],
      [1, 0, 0],
      [0, 0, 1],
    ]);
  });

  it("count a bout once, however often a bird presses in it", () => {
    const bouts = boutsOf(events([0, press()], [5, press()], [9, press()]));
    expect(trialsOf("press", bouts, [], true)).toEqual([{ at: at(0), success: true }]);
  });

  it("can't be known without visits", () => {
    expect(trialsOf("press", boutsOf(morning), [], false)).toBeNull();
  });

  it("count free food that is visited within half an hour, unless more food comes first", () => {
    const bouts = boutsOf(events([600, visit]));
    const food = [at(-3_000), at(0), at(5_000)];
    expect(trialsOf("freeFood", bouts, food, true)).toEqual([
      { at: at(-3_000), success: false, before: false },
      { at: at(0), success: true, before: false },
      { at: at(5_000), success: false, before: false },
    ]);
    expect(trialsOf("freeFood", bouts, [at(900)], true)).toEqual([{ at: at(900), success: false, before: true }]);
    expect(trialsOf("freeFood", bouts, [at(0), after(at(0), minutes(10))], true)).toHaveLength(1);
  });

  it("make sessions of ten; a short rest joins the one before", () => {
    const trials = Array.from({ length: 23 }, (_, index) => ({ at: at(index), success: index % 2 === 0 }));
    expect(sessionsOf(trials).map(({ trials: count }) => count)).toEqual([10, 13]);
    expect(sessionsOf(trials.slice(0, 3)).map(({ trials: count }) => count)).toEqual([3]);
  });
});

describe("contingency over a day", () => {
  it("counts bins with an act and without, and free food against it", () => {
    const span = [{ from: at(0), to: at(600) }];
    const acts = [at(60), at(300)];
    const food = [at(62), at(301), at(500)];
    expect(contingency(acts, food, span)).toMatchObject({
      foodAfterAct: 2,
      noFoodAfterAct: 0,
      foodWithoutAct: 1,
      noFoodWithoutAct: 7,
      deltaP: 1 - 1 / 8,
      bin: 60_000,
    });
  });
});
