import { readReport } from "../../server/contract/readReport.ts";
import type { Answer } from "../../server/contract/report.ts";
import { advanceFeeder } from "../../server/domain/advanceFeeder.ts";
import type { AlarmChange } from "../../server/domain/alarms/alarmStates.ts";
import type { Effect } from "../../server/domain/effects.ts";
import { highestStoredSeq, updateEventSequence } from "../../server/domain/eventSequence.ts";
import type { Fact } from "../../server/domain/facts.ts";
import { type FeederState, newFeeder } from "../../server/domain/feeder.ts";
import { sendingTime } from "../../server/domain/feederClock.ts";
import { days, type Instant, isoOf, seconds } from "../../server/domain/instant.ts";
import type { OrderKind } from "../../server/domain/orders/order.ts";
import { pendingOrders } from "../../server/domain/orders/orderTransitions.ts";
import { grams } from "../../server/domain/units.ts";
import { type PracticeSettings, practiceYard } from "../../server/practice/yard.ts";

/** A minimal server: the contract and `advanceFeeder`; only the state is stored. */
export class InMemoryReportApi {
  state: FeederState;
  readonly changes: AlarmChange[] = [];
  readonly effects: Effect[] = [];
  readonly #now: () => Instant;

  constructor(settings: PracticeSettings, now: () => Instant) {
    this.#now = now;
    this.state = newFeeder(
      {
        name: settings.name,
        practice: true,
        place: practiceYard.place,
        zone: practiceYard.zone,
        food: settings.food,
        hopperCapacity: grams(settings.hopperCapacityGrams),
        portionMass: grams(settings.portionGrams),
        sensors: settings.sensors,
        battery: settings.battery,
        reportEvery: seconds(settings.reportEverySeconds),
        foodWarningAhead: days(settings.warnAheadDays),
      },
      now(),
    );
  }

  readonly fetch: typeof globalThis.fetch = async (_url, init) =>
    new Response(JSON.stringify(this.#take(JSON.parse(String(init?.body)))), { status: 200 });

  minutePasses(): void {
    this.#learn({ kind: "minutePassed" });
  }

  order(id: string, kind: OrderKind): void {
    const order = {
      id,
      kind,
      until: null,
      requestedAt: this.#now(),
      requestedBy: "a keeper",
      status: "requested",
    } as const;
    this.#learn({ kind: "orderRequested", order: { ...order, sentAt: null, answeredAt: null, problem: null } });
  }

  #take(posted: unknown): Answer {
    const read = readReport(posted);
    if (read.kind === "unreadable") throw new Error(JSON.stringify(read.errors));
    const { boot, sentUptime, readings, rejectedReadings, events } = read.report;
    const time = sendingTime(this.state.clock, boot, sentUptime, this.#now());
    const highest = highestStoredSeq(this.state.eventSequence, boot) ?? 0;
    const fresh = events.filter(({ seq }) => seq > highest);
    const sequence = updateEventSequence(this.state.eventSequence, boot, fresh);
    this.state = { ...this.state, clock: time.clock, eventSequence: sequence };
    const reported = fresh.map(({ content, seq, uptime }) => ({
      ...content,
      seq,
      recordedAt: time.instantOf(uptime),
    }));
    this.#learn({ kind: "reported", report: { boot, sentUptime, readings, rejectedReadings, events: reported } });
    const orders = pendingOrders(this.state.orders, this.#now());
    if (orders.length > 0) this.#learn({ kind: "ordersSent" });
    return {
      storedThrough: highestStoredSeq(sequence, boot) || null,
      duplicates: events.length - fresh.length,
      refused: [...read.report.refused],
      unknown: [...read.report.unknownNames],
      serverTime: isoOf(this.#now()),
      nextReportSeconds: 5,
      orders: orders.map(({ id, kind, until }) => ({ id, kind, until: until === null ? null : isoOf(until) })),
    };
  }

  #learn(fact: Fact): void {
    const step = advanceFeeder(this.state, fact, this.#now());
    this.state = step.state;
    for (const effect of step.effects) {
      this.effects.push(effect);
      if (effect.kind === "alarmChanged") this.changes.push(effect.change);
    }
  }

  /** Alarms that a keeper would see now, by fault. */
  standing(): readonly string[] {
    return Object.entries(this.state.alarms)
      .filter(([, alarm]) => alarm.state === "unacknowledged" || alarm.state === "acknowledged")
      .map(([fault]) => fault);
  }
}
