import type { Answer, SentOrder } from "../../server/contract/report.ts";
import { eventSchemas, reportSchema } from "../../server/contract/report.ts";
import { type Instant, instant, isoOf } from "../../server/domain/instant.ts";
import type { ReportInput } from "../../server/practice/feeder.ts";
import type { SpooledEvent } from "../../server/practice/model/spool.ts";
import type { Timers } from "../../server/practice/reportClient.ts";

/** A clock and timers that the test moves. Answers come through real promises, which run in between. */
export class ManualTimers implements Timers {
  #now: number;
  #next = 0;
  readonly #timers = new Map<number, { at: number; work: () => void }>();

  constructor(start: Instant) {
    this.#now = start;
  }

  readonly now = (): Instant => instant(this.#now);

  setTimeout(work: () => void, milliseconds: number): unknown {
    const timer = ++this.#next;
    this.#timers.set(timer, { at: this.#now + milliseconds, work });
    return timer;
  }

  clearTimeout(timer: unknown): void {
    this.#timers.delete(timer as number);
  }

  get waiting(): number {
    return this.#timers.size;
  }

  /** The computer sleeps: time passes and no timer runs. */
  sleep(span: number): void {
    this.#now += span;
  }

  async pass(span: number): Promise<void> {
    const end = this.#now + span;
    await settled();
    for (;;) {
      const due = [...this.#timers].filter(([, { at }]) => at <= end).sort(([, a], [, b]) => a.at - b.at)[0];
      if (!due) break;
      this.#timers.delete(due[0]);
      this.#now = Math.max(this.#now, due[1].at);
      due[1].work();
      await settled();
    }
    this.#now = end;
    await settled();
  }
}

/** Runs all promises that can continue; no time passes. */
const settled = () => new Promise<void>((resolve) => setImmediate(resolve));

/** A server's report API in memory: stores by (boot, seq), answers by the contract, and fails when the test wants it. */
export class StubReportApi {
  readonly reports: ReportInput[] = [];
  readonly events = new Map<string, SpooledEvent & { recordedAt: number; boot: string }>();
  orders: SentOrder[] = [];
  nextReportSeconds = 5;
  /** Statuses for the next requests; "lost" drops the request, "answerLost" stores it but drops the answer. */
  readonly behaviour: (number | "lost" | "answerLost")[] = [];
  authorization: string | null = null;
  requestCount = 0;
  readonly #now: () => Instant;

  constructor(now: () => Instant) {
    this.#now = now;
  }

  readonly fetch: typeof globalThis.fetch = async (_url, init) => {
    this.requestCount++;
    this.authorization = new Headers(init?.headers).get("authorization");
    const behaviour = this.behaviour.shift();
    if (behaviour === "lost") throw new TypeError("fetch failed", { cause: new Error("connection refused") });
    if (typeof behaviour === "number") {
      return new Response(JSON.stringify({ title: "No" }), { status: behaviour, headers: { "retry-after": "20" } });
    }
    const answer = this.#store(String(init?.body));
    if (behaviour === "answerLost") throw new TypeError("fetch failed", { cause: new Error("connection reset") });
    return new Response(JSON.stringify(answer), { status: 200 });
  };

  #store(body: string): Answer {
    const report = reportSchema.parse(JSON.parse(body));
    this.reports.push(report);
    const events = (report.events ?? []) as unknown as SpooledEvent[];
    let duplicates = 0;
    for (const event of events) {
      // The union would pass a misspelt portion as an event of unknown kind: check each by its own schema.
      eventSchemas[event.kind].parse(event);
      const identity = `${report.boot} ${event.seq}`;
      if (this.events.has(identity)) duplicates++;
      const recordedAt = this.#now() - ((report.sentUptimeMs ?? event.uptimeMs) - event.uptimeMs);
      this.events.set(identity, { ...event, recordedAt, boot: report.boot });
    }
    return {
      storedThrough: events.at(-1)?.seq ?? null,
      duplicates,
      refused: [],
      unknown: [],
      serverTime: isoOf(this.#now()),
      nextReportSeconds: this.nextReportSeconds,
      orders: this.orders,
    };
  }

  all(): readonly (SpooledEvent & { recordedAt: number; boot: string })[] {
    return [...this.events.values()];
  }

  latest(): ReportInput {
    const latest = this.reports.at(-1);
    if (!latest) throw new Error("expected a report, got none");
    return latest;
  }
}
