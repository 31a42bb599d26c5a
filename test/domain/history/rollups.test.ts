import { describe, expect, it } from "vitest";
import type { PaymentEvent } from "../../../server/domain/digest/paymentEvent.ts";
import { paymentSummary } from "../../../server/domain/digest/payments.ts";
import type { FeederState } from "../../../server/domain/feeder.ts";
import type { Rollup } from "../../../server/domain/history/rollup.ts";
import { dayOf, quarterLength, quarterOf } from "../../../server/domain/history/rollupSpans.ts";
import {
  closedQuarters,
  initialRollups,
  type RollupStep,
  updateRollups,
} from "../../../server/domain/history/rollups.ts";
import { after, hours, instantOf, minutes, seconds } from "../../../server/domain/instant.ts";
import type { Order } from "../../../server/domain/orders/order.ts";
import type { FeederEvent, Report } from "../../../server/domain/report.ts";
import { pausedSpans } from "../../../server/flows/pure/digestSpans.ts";
import { rowanSettings } from "../rowan.ts";
import { simulateYard } from "../simulatedYard.ts";
import { StoredQuarters } from "./storedQuarters.ts";

const start = instantOf("2026-11-02T06:00:00Z");

/** A simulated feeder with all its steps, and the events with the boot that they came from. */
function watchedYard(seed: number, settings = rowanSettings) {
  const yard = simulateYard(settings, start, seed, "due");
  const steps: RollupStep[] = [];
  let before: FeederState = yard.state();
  yard.watch(({ state, effects }, fact) => {
    steps.push({ before, fact, after: state, effects, now: yard.now() });
    before = state;
  });
  const reports = (): Report[] => steps.flatMap(({ fact }) => (fact.kind === "reported" ? [fact.report] : []));
  const events = () => reports().flatMap(({ boot, events }) => events.map((event) => ({ boot, event })));
  const stored = () => {
    const quarters = new StoredQuarters();
    for (const step of steps) quarters.take(step);
    return quarters.end(yard.now());
  };
  return { yard, steps, events, stored };
}

const countKind = (events: readonly { readonly event: FeederEvent }[], kind: FeederEvent["kind"]) =>
  events.filter(({ event }) => event.kind === kind).length;

const portionsOf = ({ counts }: Rollup) =>
  counts.timerPortions + counts.pressPortions + counts.depositPortions + counts.keeperPortions;

/** As the digest reads them from the store. */
const digestEvents = (events: readonly { readonly boot: string; readonly event: FeederEvent }[]): PaymentEvent[] =>
  events
    .flatMap(({ boot, event }): PaymentEvent[] => {
      const { seq, recordedAt: at } = event;
      if (event.kind === "deposit")
        return [
          {
            kind: "deposit",
            of: `${boot} ${seq}`,
            at,
            expectsPortion: event.metal !== false,
            isPromised: event.earns === true,
          },
        ];
      if (event.kind !== "portion") return [];
      const fell = event.motorRan !== 0 && event.chuteCount !== 0 && event.cutShort !== true;
      const paysFor = event.paysFor === null ? null : `${boot} ${event.paysFor}`;
      return [{ kind: "portion", at, paysFor, forDeposit: event.cause === "deposit", isOrdered: false, fell }];
    })
    .sort((a, b) => a.at - b.at);

describe("the roll-ups of a feeder", () => {
  it("count each event in the quarter in which it was recorded, also those of a line that was down", () => {
    const { yard, events, stored } = watchedYard(1);
    yard.pass(3 * 60);
    yard.truth.dead.add("link");
    yard.pass(2 * 60);
    yard.truth.dead.delete("link");
    yard.pass(2 * 60);
    const quarters = stored();
    const all = events();
    expect(countKind(all, "deposit")).toBeGreaterThan(5);
    for (const begin of new Set(all.map(({ event }) => quarterOf(event.recordedAt).from))) {
      const inQuarter = all.filter(({ event }) => quarterOf(event.recordedAt).from === begin);
      const rollup = quarters.within(begin, after(begin, quarterLength));
      expect([rollup.counts.visits, rollup.counts.presses, rollup.counts.deposits, portionsOf(rollup)]).toEqual(
        (["visit", "press", "deposit", "portion"] as const).map((kind) => countKind(inQuarter, kind)),
      );
    }
    expect(portionsOf(quarters.whole)).toBe(countKind(all, "portion"));
  });

  it("count paid and unpaid deposits as the digest does", () => {
    const { yard, events, stored } = watchedYard(2);
    yard.truth.perHour = 20;
    yard.pass(4 * 60);
    yard.truth.dead.add("payer");
    yard.pass(60);
    yard.truth.dead.delete("payer");
    yard.restart();
    yard.pass(3 * 60);
    const { counts } = stored().whole;
    const summary = paymentSummary(digestEvents(events()));
    expect(summary.unpaid.length).toBeGreaterThan(0);
    expect(counts.depositsUnpaid).toBe(summary.unpaid.length);
    expect(counts.depositsPaid).toBe(summary.deposits - summary.unpaid.length);
  });

  it("know the time without reports as a gap", () => {
    const { yard, stored } = watchedYard(3);
    yard.pass(90);
    yard.truth.dead.add("link");
    yard.pass(3 * 60 + 30);
    yard.truth.dead.delete("link");
    yard.pass(60);
    const quarters = stored();
    // From the first report on, without the outage, of which the first minute belongs to the report before.
    expect(quarters.whole.counts.reportedTime).toBe(minutes(89 + 1 + 59));
    const silent = quarters.within(after(start, hours(2)), after(start, hours(5)));
    expect([silent.counts.reports, silent.counts.reportedTime]).toEqual([0, 0]);
    expect(silent.level).toBeNull();
    expect(silent.standingAlarms).toContain("feederSilent");
  });

  it("have the interval that a slow feeder really keeps", () => {
    const { yard, stored } = watchedYard(4, { ...rowanSettings, reportEvery: seconds(3_600) });
    yard.pass(10 * 60);
    expect(stored().whole.counts.reportedTime).toBe(hours(9));
  });

  it("know how long it was paused, and expect no portion for a deposit then", () => {
    const { yard, events, stored } = watchedYard(5);
    yard.truth.perHour = 30;
    yard.truth.chuteMisses = 0;
    yard.pass(2 * 60);
    yard.order("pause-1", "pause");
    yard.pass(90);
    yard.order("resume-1", "resume");
    yard.pass(2 * 60);
    const orders = yard.effects().flatMap(({ effect }) => (effect.kind === "orderChanged" ? [effect.order] : []));
    const latest = [...new Map(orders.map((order): [string, Order] => [order.id, order])).values()];
    const paused = pausedSpans(latest, yard.now());
    expect(paused).toHaveLength(1);
    const [span = { from: start, to: start }] = paused;
    const { counts } = stored().whole;
    expect(counts.pausedTime).toBe(span.to - span.from);
    const inPause = events().filter(({ event }) => event.recordedAt >= span.from && event.recordedAt < span.to);
    expect(countKind(inPause, "deposit")).toBeGreaterThan(0);
    expect(counts.depositsUnpaid).toBe(0);
    expect(counts.depositsPaid).toBe(counts.deposits - countKind(inPause, "deposit"));
  });

  it("have the readings' least, mean and most, and the level with its interval", () => {
    const { yard, stored } = watchedYard(6);
    yard.pass(4 * 60, (now) => {
      yard.truth.air = now < after(start, hours(2)) ? -8 : 6;
    });
    const { measures, level, counts } = stored().whole;
    expect(measures.air).toMatchObject({ count: counts.reports, least: -80, most: 61 });
    expect((measures.air?.sum ?? 0) / counts.reports).toBeCloseTo(-9.5, 0);
    expect(measures.battery).toEqual({ count: counts.reports, sum: 1_270 * counts.reports, least: 1_270, most: 1_270 });
    const { low = 0, last = 0, high = 0, least = 0, most = 0 } = level ?? {};
    expect(low).toBeLessThan(last);
    expect(last).toBeLessThan(high);
    expect(least).toBeLessThan(most);
    expect(Math.abs(last / 10 - yard.truth.hopper)).toBeLessThan(20);
  });

  it("know the grams given where the keeper entered what a portion weighs", () => {
    const played = (settings: typeof rowanSettings) => {
      const { yard, stored, events } = watchedYard(7, settings);
      yard.pass(4 * 60);
      return { given: stored().whole.decigramsGiven, events: events() };
    };
    const { given, events } = played(rowanSettings);
    const fell = events.filter(({ event }) => event.kind === "portion" && event.chuteCount !== 0).length;
    expect(given).toBe(fell * 20);
    expect(played({ ...rowanSettings, assumed: ["portionMass"] }).given).toBeNull();
  });

  it("count the alarms that were raised and name those that stood", () => {
    const { yard, stored } = watchedYard(8);
    yard.truth.perHour = 20;
    yard.pass(3 * 60);
    yard.truth.motor = "stalled";
    yard.pass(2 * 60);
    const raised = yard.effects().filter(({ effect }) => {
      return (
        effect.kind === "alarmChanged" &&
        effect.change.to === "unacknowledged" &&
        effect.change.from !== "unacknowledged"
      );
    });
    const { whole } = stored();
    expect(raised.length).toBeGreaterThan(0);
    expect(whole.counts.alarmsRaised).toBe(raised.length);
    expect(whole.standingAlarms).toContain("motorStalled");
  });

  it("are the same where the checks between the reports are left out, as far as no alarm changes", () => {
    const { yard, steps, stored } = watchedYard(9);
    yard.pass(6 * 60);
    const quarters = new StoredQuarters();
    for (const step of steps) {
      if (step.fact.kind !== "minutePassed" || step.effects.length > 0) quarters.take(step);
    }
    expect([...quarters.end(yard.now()).texts]).toEqual([...stored().texts]);
  });

  it("go on the same from a snapshot", () => {
    const { yard, steps, stored } = watchedYard(13);
    yard.pass(3 * 60);
    const quarters = new StoredQuarters();
    for (const step of steps) {
      quarters.take(step);
      quarters.rollups = JSON.parse(JSON.stringify(quarters.rollups));
    }
    expect([...quarters.end(yard.now()).texts]).toEqual([...stored().texts]);
  });

  it("of a local day count what happened in it", () => {
    const { yard, events, stored } = watchedYard(10);
    yard.pass(20 * 60);
    const day = dayOf(start, rowanSettings.zone);
    const inDay = events().filter(({ event }) => event.recordedAt >= day.from && event.recordedAt < day.to);
    expect(stored().within(day.from, day.to).counts.visits).toBe(countKind(inDay, "visit"));
    expect(countKind(inDay, "visit")).toBeGreaterThan(10);
  });

  it("take at most 120 bytes for a quarter of an hour of a busy feeder with all sensors", () => {
    const { yard, stored } = watchedYard(11);
    yard.truth.perHour = 15;
    yard.pass(9 * 60, (now) => {
      yard.truth.air = -3 + 6 * Math.sin(now / hours(4));
      yard.truth.charge = Math.max(0, Math.round(400 * Math.sin(now / hours(5))));
      yard.truth.batteryVolts = 12.6 + 0.4 * Math.sin(now / hours(7));
    });
    const sizes = [...stored().texts.values()].map((text) => Buffer.byteLength(text)).sort((a, b) => a - b);
    expect(sizes.length).toBeGreaterThanOrEqual(36);
    expect(sizes.at(-1)).toBeLessThanOrEqual(120);
  });
});

describe("a quarter", () => {
  it("is closed five minutes after its end, and handed out once", () => {
    const { yard, steps } = watchedYard(12);
    yard.pass(14);
    const rollups = steps.reduce(updateRollups, initialRollups());
    const at = (minute: number) => closedQuarters(rollups, after(start, minutes(minute)));
    expect(at(19.9).closed).toEqual([]);
    expect(at(20).closed.map(({ from }) => from)).toEqual([start]);
    expect(closedQuarters(at(20).rollups, after(start, minutes(21))).closed).toEqual([]);
  });
});
