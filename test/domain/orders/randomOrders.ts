import fc from "fast-check";
import type { PostedEvent } from "../../../server/contract/readReport.ts";
import type { Fact } from "../../../server/domain/facts.ts";
import { newFeeder } from "../../../server/domain/feeder.ts";
import { initialRollups } from "../../../server/domain/history/rollups.ts";
import { after, earlier, type Instant, instantOf, isoOf, type Span, seconds } from "../../../server/domain/instant.ts";
import type { Order, OrderKind } from "../../../server/domain/orders/order.ts";
import type { EventContent, PortionCause } from "../../../server/domain/report.ts";
import { applyFact, type FeederUpdate, startUpdate } from "../../../server/flows/pure/feederUpdate.ts";
import { newOrder } from "../../../server/flows/pure/newOrder.ts";
import { type TakenReport, takeReport } from "../../../server/flows/pure/takeReport.ts";
import { feederView } from "../../../server/flows/views.ts";
import { barePortion } from "../portionFixture.ts";
import { rowanSettings } from "../rowan.ts";
import { emptyReadings } from "../silence/larch.ts";

/**
 * Random histories of both sides of pause and resume: a feeder of some nature, a line that loses, holds and repeats, and two keepers.
 * The server's steps are handed in, so that steps with a planted bug can be played as well.
 */
export interface OrderFunctions {
  readonly report: (
    before: FeederUpdate,
    report: SentReport,
    fresh: readonly PostedEvent[],
    now: Instant,
  ) => TakenReport;
  readonly step: (before: FeederUpdate, fact: Fact, now: Instant) => FeederUpdate;
  readonly show: (feeder: FeederUpdate, now: Instant) => ShownOrder;
}

/** What a keeper's page shows. */
export interface ShownOrder {
  readonly order: { readonly id: string; readonly kind: OrderKind; readonly status: string } | null;
  readonly standing: string;
  readonly words: string;
  readonly faults: readonly string[];
}

export const realFunctions: OrderFunctions = {
  report: (before, { boot, sentUptime, paused }, fresh, now) =>
    takeReport(
      before,
      { boot, sentUptime, readings: { ...emptyReadings, paused }, rejectedReadings: [], unknownReadings: [] },
      fresh,
      now,
    ),
  step: applyFact,
  show: (feeder, now) => {
    const { pause, summary, alarms } = feederView(
      { ...feeder, revision: 1, practice: false, rebuiltAt: null } as never,
      now,
    );
    return {
      order: pause.order,
      standing: pause.status.kind,
      words: summary,
      faults: alarms.map(({ fault }) => fault),
    };
  },
};

/** Each answer of the feeder to an order, and what it states of itself besides. */
export interface FeederBehaviour {
  readonly obeys: "does" | "onlySaysDone" | "refuses" | "ignores";
  readonly reading: "truth" | "opposite" | "paused" | "feeding" | "none";
  readonly forgets: boolean; // the pause, when it starts anew
  readonly reusesBoot: boolean;
  readonly keepsSpool: boolean; // over a new start
}

export type OrderAction =
  | { readonly kind: "portion"; readonly cause: PortionCause; readonly motorMs: number | null }
  | { readonly kind: "report"; readonly line: "works" | "losesAnswer" | "losesReport" | "holdsReport" }
  | { readonly kind: "lateReport" | "repeatedReport" | "askedAgain"; readonly which: number }
  | { readonly kind: "restart" }
  | { readonly kind: "obeys"; readonly from: FeederBehaviour["obeys"] }
  | { readonly kind: "ask"; readonly by: "Ada" | "Bo"; readonly order: OrderKind; readonly endsIn: number | null };

const some = <Value>(value: Value, weight: number) => ({ weight, arbitrary: fc.constant(value) });
const obeys = fc.oneof(
  some("does" as const, 5),
  some("onlySaysDone" as const, 3),
  some("refuses" as const, 1),
  some("ignores" as const, 1),
);
export const anyBehaviour: fc.Arbitrary<FeederBehaviour> = fc.record({
  obeys,
  reading: fc.oneof(
    ...[some("truth" as const, 4), some("none" as const, 4)],
    ...[some("opposite" as const, 1), some("paused" as const, 1), some("feeding" as const, 1)],
  ),
  forgets: fc.boolean(),
  reusesBoot: fc.boolean(),
  keepsSpool: fc.boolean(),
});

const anyMove: fc.Arbitrary<OrderAction> = fc.oneof(
  {
    weight: 10,
    arbitrary: fc.record({
      kind: fc.constant("report" as const),
      line: fc.oneof(
        some("works" as const, 8),
        ...[some("losesAnswer" as const, 1), some("losesReport" as const, 1), some("holdsReport" as const, 2)],
      ),
    }),
  },
  {
    weight: 4,
    arbitrary: fc.record({
      kind: fc.constant("portion" as const),
      cause: fc.constantFrom<PortionCause>("timer", "press", "deposit", "keeper"),
      motorMs: fc.constantFrom(null, 900),
    }),
  },
  {
    weight: 4,
    arbitrary: fc.record({
      kind: fc.constant("ask" as const),
      by: fc.constantFrom("Ada" as const, "Bo" as const),
      order: fc.oneof(some("pause" as const, 3), some("resume" as const, 1)),
      endsIn: fc.oneof(some(null, 3), { weight: 1, arbitrary: fc.integer({ min: 30, max: 1_500 }) }),
    }),
  },
  { weight: 2, arbitrary: fc.constant({ kind: "restart" as const }) },
  {
    weight: 3,
    arbitrary: fc.record({
      kind: fc.constantFrom("lateReport" as const, "repeatedReport" as const, "askedAgain" as const),
      which: fc.nat(3),
    }),
  },
  { weight: 1, arbitrary: fc.record({ kind: fc.constant("obeys" as const), from: obeys }) },
);
/** Seconds that pass before each move. */
const wait = fc.oneof(
  { weight: 6, arbitrary: fc.integer({ min: 2, max: 70 }) },
  { weight: 1, arbitrary: fc.integer({ min: 70, max: 900 }) },
);
export const anyActions = fc.array(fc.tuple(wait, anyMove), { minLength: 4, maxLength: 40, size: "max" });

/** A fact about the feeder at its true time, as it travels in a report. */
export type FeederStatement = { readonly at: Instant } & (
  | { readonly what: "starts" }
  | { readonly what: "states"; readonly paused: boolean }
  | { readonly what: "done" | "refused"; readonly order: string }
  /** `at`: its motor started then or later, whatever the feeder calls the moment of a portion. */
  | { readonly what: "gave"; readonly recordedAt: Instant }
);

interface Spooled {
  readonly event: PostedEvent;
  readonly statement: FeederStatement;
}

export interface SentReport {
  readonly boot: string;
  readonly sentUptime: Span | null;
  readonly paused: boolean | null;
  readonly spool: readonly Spooled[];
  readonly statements: readonly FeederStatement[];
  readonly at: Instant;
}

/** One step of the server, as the checks see it. */
export interface OrderStep {
  readonly what: string;
  readonly now: Instant;
  /** What this step brought that was not known before. */
  readonly news: readonly FeederStatement[];
  readonly newest: Order | null; // as requested
  readonly shown: ShownOrder;
  /** Orders that the answer to a report hands out; null where the step was no report. */
  readonly handedOut: readonly string[] | null;
}

export interface OrderRun {
  readonly steps: readonly OrderStep[];
  readonly orders: ReadonlyMap<string, Order>;
  /** Where the feeder was honest and the line worked for a while at the end: from this step on. */
  readonly settled: OrderStep;
}

const begun = instantOf("2026-12-01T06:00:00Z");
/** A feeder that states "paused" and gives food is believed again ten minutes later; and a few reports. */
const settlingReports = 16;
const startsRemembered = 7;

export function runOrders(
  nature: FeederBehaviour,
  moves: readonly (readonly [number, OrderAction])[],
  server: OrderFunctions = realFunctions,
): OrderRun {
  const row = {
    id: "rowan",
    yard: "alder-croft",
    revision: 0,
    state: newFeeder(rowanSettings, begun),
    rollups: initialRollups(),
    lastReportAt: null,
  };
  let feeder = startUpdate({ ...row, lastStepAt: null });
  let now = begun;
  const steps: OrderStep[] = [];
  const orders = new Map<string, Order>();
  const requestedOrders: Order[] = [];
  const stored = new Set<string>();
  const known = new Set<FeederStatement>();
  const bootsTold: string[] = [];
  let lastSentAt = begun;
  let held: SentReport[] = [];
  let delivered: SentReport[] = [];
  const it = {
    obeys: nature.obeys,
    reading: nature.reading,
    paused: false,
    ends: null as Instant | null,
    claims: null as boolean | null, // what it last reported as done
    start: 1,
    startedAt: begun,
    begins: { what: "starts", at: begun } as FeederStatement,
    seq: 0,
    spool: [] as Spooled[],
    leftBehind: [] as { boot: string; spool: Spooled[] }[],
  };
  const boot = () => (nature.reusesBoot ? (it.start === 1 ? "b-1" : `b-1#${it.start}`) : `b-${it.start}`);
  const isEnded = () => it.ends !== null && now >= it.ends;

  const recordStep = (
    what: string,
    news: readonly FeederStatement[] = [],
    handedOut: OrderStep["handedOut"] = null,
  ) => {
    steps.push({ what, now, news, newest: requestedOrders.at(-1) ?? null, shown: server.show(feeder, now), handedOut });
  };
  const pass = (span: Span) => {
    const until = after(now, span);
    while (now < until) {
      now = earlier(until, after(now, seconds(60)));
      if (it.paused && isEnded()) Object.assign(it, { paused: false, ends: null });
      feeder = { ...server.step(feeder, { kind: "minutePassed" }, now), effects: [] };
      recordStep("a minute passes");
    }
  };
  const record = (happening: EventContent, statement: FeederStatement) => {
    it.seq += 1;
    const uptime = (now - it.startedAt) as Span;
    const event = { seq: it.seq, uptime, kind: happening.kind, content: happening, body: {}, index: 0 };
    it.spool.push({ event, statement });
  };
  const claimsPaused = (): boolean | null => {
    switch (it.reading) {
      case "none":
        return null;
      case "truth":
        return it.paused;
      case "opposite":
        return !it.paused;
      default:
        return it.reading === "paused";
    }
  };
  const takesOrder = (id: string) => {
    const { kind, until } = orders.get(id) as Order;
    if (it.obeys === "ignores") return;
    const refused = it.obeys === "refuses";
    if (it.obeys === "does") Object.assign(it, { paused: kind === "pause", ends: until });
    if (!refused) it.claims = kind === "pause";
    const outcome = refused ? "refused" : "done";
    record({ kind: "order", order: id, outcome, problem: null }, { what: outcome, order: id, at: now });
  };
  const isDated = ({ boot, sentUptime }: SentReport) => sentUptime !== null || bootsTold.includes(boot);
  const deliver = (what: string, sent: SentReport): readonly string[] => {
    const { boot, spool, sentUptime } = sent;
    const fresh = spool.map(({ event }) => event).filter(({ seq }) => !stored.has(`${boot}/${seq}`));
    for (const { seq } of fresh) stored.add(`${boot}/${seq}`);
    const statements = isDated(sent) ? [...sent.statements, ...spool.map((one) => one.statement)] : [];
    const news = statements.filter((one) => !known.has(one));
    for (const one of news) known.add(one);
    if (sentUptime !== null && !bootsTold.includes(boot)) bootsTold.push(boot);
    const taken = server.report(feeder, sent, fresh, now);
    feeder = { ...taken.feeder, effects: [] };
    if (sentUptime !== null && sent.at > lastSentAt) lastSentAt = sent.at;
    const handedOut = taken.orders.map(({ id }) => id);
    recordStep(what, news, handedOut);
    return handedOut;
  };
  const answered = (sent: SentReport, handedOut: readonly string[]) => {
    it.spool = it.spool.filter((one) => !sent.spool.includes(one));
    it.leftBehind = it.leftBehind.filter(({ boot }) => boot !== sent.boot);
    now = after(now, 100 as Span);
    for (const id of handedOut) takesOrder(id);
  };
  const report = (line: Extract<OrderAction, { kind: "report" }>["line"]) => {
    const paused = claimsPaused();
    const stated: FeederStatement[] = paused === null ? [] : [{ what: "states", paused, at: now }];
    const sentUptime = (now - it.startedAt) as Span;
    const sent: SentReport = {
      boot: boot(),
      sentUptime,
      paused,
      spool: [...it.spool],
      statements: [it.begins, ...stated],
      at: now,
    };
    if (line === "holdsReport") held = [...held, sent].slice(-4);
    if (line === "losesReport" || line === "holdsReport") return;
    const handedOut = deliver("a report", sent);
    delivered = [...delivered, sent].slice(-4);
    if (line === "losesAnswer") return;
    answered(sent, handedOut);
    for (const { boot, spool } of it.leftBehind) {
      const old: SentReport = { boot, sentUptime: null, paused: null, spool, statements: [], at: now };
      answered(old, deliver("what an earlier start left behind", old));
    }
  };
  const ask = (order: Order) => {
    if (!orders.has(order.id)) requestedOrders.push(order);
    orders.set(order.id, order);
    feeder = { ...server.step(feeder, { kind: "orderRequested", order }, now), effects: [] };
    recordStep(`ordered to ${order.kind}`);
  };
  const late = (what: string, sent: SentReport | undefined) => {
    // One that nothing has overtaken can't be distinguished from a feeder whose report takes that long.
    if (sent === undefined || sent.at >= lastSentAt) return;
    if (!bootsTold.includes(sent.boot) || !bootsTold.slice(-startsRemembered).includes(sent.boot)) return;
    deliver(what, sent);
  };
  const play = (move: OrderAction) => {
    switch (move.kind) {
      case "portion": {
        if (it.paused && move.cause !== "keeper") return;
        const motor = (move.motorMs ?? 4_000) + 1_000;
        const portion = { ...barePortion, cause: move.cause, motorRan: move.motorMs as Span | null };
        record(portion, { what: "gave", at: after(now, -motor as Span), recordedAt: now });
        return;
      }
      case "report":
        return report(move.line);
      case "lateReport":
        return late("a late report", held.at(-1 - move.which));
      case "repeatedReport":
        return late("a repeated report", delivered.at(-1 - move.which));
      case "askedAgain": {
        const again = requestedOrders.at(-1 - move.which);
        return again && ask(again);
      }
      case "restart":
        if (nature.keepsSpool && !nature.reusesBoot && it.spool.length > 0) {
          it.leftBehind.push({ boot: boot(), spool: it.spool });
        }
        Object.assign(it, {
          start: it.start + 1,
          startedAt: now,
          begins: { what: "starts", at: now },
          seq: 0,
          spool: [],
        });
        if (nature.forgets) Object.assign(it, { paused: false, ends: null });
        return;
      case "obeys":
        it.obeys = move.from;
        return;
      case "ask": {
        const until = move.endsIn === null || move.order === "resume" ? null : after(now, seconds(move.endsIn));
        ask(newOrder({ id: `o${requestedOrders.length + 1}`, kind: move.order, until, by: move.by }, now));
      }
    }
  };
  for (const [waited, move] of moves) {
    pass(seconds(waited));
    play(move);
  }
  // Honest from here on: what it reported as done, it now does.
  it.obeys = "does";
  it.paused = it.claims ?? it.paused;
  if (it.reading !== "none") it.reading = "truth";
  for (let round = 0; round < settlingReports; round += 1) {
    pass(seconds(60));
    report("works");
  }
  return { steps, orders, settled: steps.at(-1) as OrderStep };
}

export const headlineOf = ({ what, now, shown }: OrderStep): string =>
  `${what} at ${isoOf(now).slice(11, 19)}: ${shown.order?.kind ?? "no order"} ${shown.order?.status ?? ""}, ${shown.standing}; ${shown.words}`;
