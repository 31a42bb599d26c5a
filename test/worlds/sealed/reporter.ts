import type { Agenda } from "./agenda.ts";
import type { Batch, Computer } from "./computer.ts";
import type { Line } from "./line.ts";
import type { Random } from "./random.ts";
import { minuteMs } from "./sky.ts";

/** What the feeder's program sends, and when. */

export interface Order {
  readonly id: string;
  readonly kind: "pause" | "resume";
}

export interface ReporterParts {
  readonly agenda: Agenda;
  readonly computer: Computer;
  readonly line: Line;
  readonly random: Random;
  readonly everyMs: number;
  readonly readings: () => object;
  /** A report has reached the server. */
  readonly arrive: (body: object) => void;
}

/** A program that gets no answer gives up after so long, and frees the line for the next report. */
const noAnswerMs = 6_000;

export class Reporter {
  readonly #parts: ReporterParts;
  /** What the keeper has ordered and the feeder doesn't know yet: it comes with an answer. */
  waitingOrder: Order | null = null;
  #isSending = false;
  #boot = "";

  constructor(parts: ReporterParts) {
    this.#parts = parts;
  }

  /** From a start of the computer on: one report soon, then each at its time. */
  begin(): void {
    const { agenda, computer, random, everyMs } = this.#parts;
    this.#isSending = false;
    this.#boot = computer.boot;
    const first = agenda.now + random.uniform(0, Math.min(everyMs, minuteMs));
    this.#plan(first, 0, computer.boot);
  }

  #plan(first: number, index: number, boot: string): void {
    const { agenda, random, everyMs } = this.#parts;
    agenda.at(first + index * everyMs + random.uniform(0, 800), () => {
      if (!this.#isOf(boot)) return;
      this.#plan(first, index + 1, boot);
      if (!this.#isSending) this.#send();
    });
  }

  #isOf(boot: string): boolean {
    return this.#parts.computer.isOn && this.#boot === boot;
  }

  #send(): void {
    const batch = this.#parts.computer.nextBatch();
    this.#transmit(batch, this.#body(batch), this.#parts.line.part.sendsAgain ? 1 : 0);
  }

  #body(batch: Batch): object {
    const { agenda, computer, readings } = this.#parts;
    const sentAt = computer.part.saysSentAt ? { sentAt: new Date(computer.clock(agenda.now)).toISOString() } : {};
    if (batch.isOld) return { boot: batch.boot, sentUptimeMs: null, ...sentAt, events: batch.events };
    const sentUptimeMs = computer.uptime(agenda.now);
    return { boot: batch.boot, sentUptimeMs, ...sentAt, readings: readings(), events: batch.events };
  }

  /** @param again how often the same report may still be sent again */
  #transmit(batch: Batch, body: object, again: number): void {
    const { agenda, line, arrive, everyMs } = this.#parts;
    const boot = this.#boot;
    this.#isSending = true;
    const { kind, latencyMs, doubledAfterMs } = line.fate(agenda.now, Math.min(12_000, 0.3 * everyMs));
    if (kind !== "lost") agenda.in(latencyMs, () => arrive(body));
    if (doubledAfterMs !== null) agenda.in(latencyMs + doubledAfterMs, () => arrive(body));
    const wait = kind === "answered" ? 2 * latencyMs : noAnswerMs + latencyMs;
    agenda.in(wait, () => {
      if (!this.#isOf(boot)) return;
      if (kind === "answered") this.#answered(batch);
      else if (again > 0) this.#transmit(batch, body, again - 1);
      else this.#isSending = false;
    });
  }

  #answered(batch: Batch): void {
    const { agenda, computer, random } = this.#parts;
    computer.forget(batch);
    computer.knowsTime = true;
    this.#isSending = false;
    this.#follow();
    const hasBacklog = batch.isOld || batch.events.length === computer.part.batch;
    if (!hasBacklog) return;
    const boot = this.#boot;
    this.#isSending = true;
    agenda.in(random.uniform(500, 4_000), () => {
      if (this.#isOf(boot)) this.#send();
    });
  }

  #follow(): void {
    const { agenda, computer } = this.#parts;
    const order = this.waitingOrder;
    if (order === null) return;
    this.waitingOrder = null;
    computer.isPaused = order.kind === "pause";
    computer.record(agenda.now, { kind: "order", order: order.id, outcome: "done" });
  }
}
