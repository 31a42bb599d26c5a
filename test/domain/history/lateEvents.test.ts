import fc from "fast-check";
import { describe, expect, it } from "vitest";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { countNames } from "../../../server/domain/history/rollup.ts";
import { quarterOf } from "../../../server/domain/history/rollupSpans.ts";
import {
  closedQuarters,
  initialRollups,
  type RollupStep,
  updateRollups,
} from "../../../server/domain/history/rollups.ts";
import { decodeRollup } from "../../../server/domain/history/rollupText.ts";
import { after, hours, type Instant, instantOf, minutes, seconds } from "../../../server/domain/instant.ts";
import type { FeederEvent, Report } from "../../../server/domain/report.ts";
import { rowanSettings } from "../rowan.ts";
import { StoredQuarters } from "./storedQuarters.ts";

const start = instantOf("2026-11-02T06:00:00Z");

describe("events that come late", () => {
  /** Only its events change anything. */
  const state = newFeeder({ ...rowanSettings, sensors: { ...rowanSettings.sensors, scale: false } }, start);
  const noReadings = {} as Report["readings"];
  const stepOf = (events: readonly FeederEvent[], now: Instant): RollupStep => ({
    before: state,
    fact: {
      kind: "reported",
      report: { boot: "b-1", sentUptime: null, readings: noReadings, rejectedReadings: [], events },
    },
    after: state,
    effects: [],
    now,
  });
  const received = after(start, hours(30));
  const storedOf = (reports: readonly (readonly FeederEvent[])[]) => {
    const quarters = new StoredQuarters();
    reports.forEach((events, index) => {
      quarters.take(stepOf(events, after(received, minutes(10 * index))));
    });
    quarters.end(after(received, hours(50)));
    // Reports themselves count when they come in.
    return [...quarters.texts]
      .filter(([from]) => from < quarterOf(received).from)
      .sort(([a], [b]) => a - b)
      .filter(([, text]) => text !== "");
  };
  const kinds = fc.constantFrom("visit", "press", "deposit", "portion");
  const someEvents = fc
    .array(
      fc.record({ wait: fc.integer({ min: 0, max: 600_000 }), kind: kinds, paysFor: fc.integer({ min: 1, max: 3 }) }),
      {
        minLength: 1,
        maxLength: 40,
      },
    )
    .map((steps) => {
      let at = start;
      return steps.map(({ wait, kind, paysFor }, index): FeederEvent => {
        at = after(at, wait as never);
        const seq = index + 1;
        if (kind === "deposit") return { kind, metal: true, signal: null, chute: null, seq, recordedAt: at };
        if (kind !== "portion") return { kind, seq, recordedAt: at };
        return {
          kind,
          cause: "deposit",
          paysFor: Math.max(1, seq - paysFor),
          motorRan: seconds(1),
          meanCurrent: null,
          peakCurrent: null,
          chuteCount: null,
          lowestSupply: null,
          seq,
          recordedAt: at,
        };
      });
    });

  it("give the same roll-ups in whatever order and parts they come", () => {
    const shuffled = someEvents.chain((events) =>
      fc.tuple(
        fc.constant(events),
        fc.shuffledSubarray(events, { minLength: events.length }),
        fc.integer({ min: 1, max: 9 }),
      ),
    );
    fc.assert(
      fc.property(shuffled, ([events, order, size]) => {
        const parts = Array.from({ length: Math.ceil(order.length / size) }, (_, n) =>
          order.slice(n * size, (n + 1) * size).sort((a, b) => a.recordedAt - b.recordedAt),
        );
        expect(storedOf(parts)).toEqual(storedOf([events]));
      }),
      { numRuns: 100 },
    );
  });

  it("pay a deposit in a quarter that was stored as unpaid", () => {
    const deposit: FeederEvent = {
      kind: "deposit",
      metal: true,
      signal: null,
      chute: null,
      seq: 1,
      recordedAt: after(start, seconds(899)),
    };
    const portion: FeederEvent = {
      kind: "portion",
      cause: "deposit",
      paysFor: 1,
      motorRan: seconds(1),
      meanCurrent: null,
      peakCurrent: null,
      chuteCount: 3,
      lowestSupply: null,
      seq: 2,
      recordedAt: after(start, seconds(903)),
    };
    const countsOf = (stored: ReturnType<typeof storedOf>) =>
      stored.map(([, text]) => {
        const { deposits, depositsPaid, depositsUnpaid, depositPortions } = decodeRollup(text).counts;
        return [deposits, depositsPaid, depositsUnpaid, depositPortions];
      });
    expect(countsOf(storedOf([[deposit]]))).toEqual([[1, 0, 1, 0]]);
    expect(countsOf(storedOf([[deposit], [portion]]))).toEqual([
      [1, 1, 0, 0],
      [0, 0, 0, 1],
    ]);
  });

  it("change no other quarter", () => {
    const events = fc.sample(someEvents, { numRuns: 1, seed: 4 })[0] ?? [];
    let rollups = updateRollups(initialRollups(), stepOf(events, received));
    rollups = closedQuarters(rollups, after(received, hours(2))).rollups;
    expect(rollups.open).toEqual([]);
    const late: FeederEvent = {
      kind: "deposit",
      metal: true,
      signal: null,
      chute: null,
      seq: 90,
      recordedAt: received,
    };
    const { open } = updateRollups(rollups, stepOf([late], received));
    expect(open.map(({ from }) => from)).toEqual([quarterOf(received).from]);
    expect(countNames.filter((name) => open[0]?.rollup.counts[name] === 1)).toEqual([
      "reports",
      "deposits",
      "depositsUnpaid",
    ]);
  });
});
