import type { PracticeFault } from "../contract/api.ts";
import { eventsPerReportMax } from "../contract/report.ts";
import { after, before, hours, type Instant, later, minutes, type Span, seconds } from "../domain/instant.ts";
import type { VisitPattern } from "./birds.ts";
import type { FeederMemory } from "./feeder.ts";
import { initialOrderState } from "./orderState.ts";
import { type RandomSource, seededRandom } from "./random.ts";
import { type SendResult, type ServerConnection, sendReport, type Timers } from "./reportClient.ts";
import { Scene } from "./scene.ts";
import { canHaveFault, type PracticeSettings, rowan } from "./yard.ts";

export interface PracticeOptions {
  readonly url: string;
  readonly key: string;
  readonly settings?: PracticeSettings; // Rowan where left out
  readonly seed: number; // give both feeders of the yard the same, and they share its weather
  readonly now: () => Instant;
  readonly fetch: typeof globalThis.fetch;
  readonly timers: Timers;
  readonly log: PracticeLog;
  /** How far back the simulated past goes, at most; 0 for none. */
  readonly history?: Span;
  /** When this feeder last reported, so that a restart doesn't report the same hours twice with other birds. */
  readonly reportedUntil?: Instant | null;
  /** What the server estimates to be in the hopper, so that a restart isn't taken as a refill. */
  readonly hopperGrams?: number;
  /** What an earlier run left on the feeder's disk. */
  readonly memory?: FeederMemory;
}

export interface PracticeLog {
  info(text: string): void;
  warning(text: string): void;
}

export interface Practice {
  /** Ends it; resolves when no request is under way any more. */
  stop(): Promise<void>;
  /** @returns false where this feeder can't have that fault (see `canHaveFault`); nothing changes then. */
  setFault(fault: PracticeFault): boolean;
  clearFault(): void;
  readonly fault: PracticeFault;
  readonly isPaused: boolean;
  memory(): FeederMemory;
}

/**
 * Runs one simulated feeder against a server, over HTTP as a real one. First it reports the past day and a half, in
 * which birds came by daylight only; from then on its birds ignore darkness, so that something happens at any hour.
 */
export function startPractice(options: PracticeOptions): Practice {
  const run = new Run(options);
  run.wake();
  return run;
}

/** A past of a day and a half always has the daylight of one whole day. */
const historyMax: Span = hours(36);
const historyMin: Span = minutes(10);
/** For this long after a start or a choice of a fault a person is assumed to watch. */
const watchTime: Span = minutes(15);
/** A report waits a little for a quiet moment, in which the hopper can be weighed. */
const pauseMax: Span = seconds(3);
const backOffFirst: Span = seconds(2);
const backOffMax: Span = seconds(60);
const confirmationDelay: Span = seconds(1);
const betweenPages: Span = 200 as Span;

class Run implements Practice {
  readonly #options: PracticeOptions;
  readonly #server: ServerConnection;
  readonly #random: RandomSource;
  readonly #scene: Scene;
  readonly #stopping = new AbortController();
  #now: Instant;
  #nextPostAt: Instant;
  #drummingUntil: Instant;
  #flockUntil: Instant;
  #watchedUntil: Instant;
  #posting: Promise<void> | null = null;
  #timer: unknown = null;
  #backOff: Span = backOffFirst;
  #eventsAtOnce = eventsPerReportMax;

  constructor(options: PracticeOptions) {
    this.#options = options;
    this.#server = { url: options.url, key: options.key, fetch: options.fetch, timers: options.timers };
    this.#now = options.now();
    this.#nextPostAt = this.#now;
    this.#drummingUntil = this.#now;
    this.#flockUntil = this.#now;
    this.#watchedUntil = after(this.#now, watchTime);
    // Start and feeder are mixed in, or every restart would repeat the same birds, and both feeders would have the same birds.
    const mix = (this.#now % 2 ** 31) ^ (this.#settings.name === "Rowan" ? 0 : 0x5bd1e995);
    this.#random = seededRandom(options.seed ^ mix);
    this.#scene = this.#simulatePast();
    options.log.info(
      `${this.#settings.name} is up with ${this.#scene.feeder.spooled} events to report. Its practice birds ignore darkness.`,
    );
  }

  get #settings(): PracticeSettings {
    return this.#options.settings ?? rowan;
  }

  /** The past is simulated with the same birds and the same feeder, so the level at its end is the level that is reported. */
  #simulatePast(): Scene {
    const { history = historyMax, reportedUntil = null, hopperGrams, memory, seed, log } = this.#options;
    const wanted = before(this.#now, Math.min(history, historyMax) as Span);
    const from = reportedUntil === null ? wanted : later(wanted, reportedUntil);
    const since = this.#now - from >= historyMin ? from : this.#now;
    let narrates = false; // the log leaves out the past
    const scene = new Scene({
      settings: this.#settings,
      seed,
      random: this.#random,
      hopperGrams: hopperGrams ?? (since < this.#now ? 0.4 : 0.85) * this.#settings.hopperCapacityGrams,
      memory: memory ?? { spool: [], orderState: initialOrderState },
      boot: `b-${this.#now.toString(36)}-${Math.floor(this.#random.uniform() * 36 ** 5).toString(36)}`,
      visitPattern: "daylight",
      startsAt: since,
      narrate: (text) => {
        if (narrates) log.info(text);
      },
    });
    scene.advance(this.#now);
    scene.setVisitPattern("lively", this.#now);
    narrates = true;
    return scene;
  }

  // --- actions of the person who practises --------------------------------------------------------------------------------

  get fault(): PracticeFault {
    return this.#scene.world.fault;
  }

  get isPaused(): boolean {
    return this.#scene.feeder.isPaused;
  }

  setFault(fault: PracticeFault): boolean {
    if (!canHaveFault(this.#settings, fault)) return false;
    if (fault === this.fault) return true;
    const at = this.#advance();
    const { drums, flock } = visitSpans(fault, this.fault);
    this.#drummingUntil = after(at, drums);
    this.#flockUntil = after(at, flock);
    this.#watchedUntil = after(at, watchTime);
    this.#scene.setFault(fault, at);
    this.#scene.setVisitPattern(this.#visitPattern(at), at);
    this.#options.log.info(
      fault === "none" ? `${this.#settings.name} is healthy.` : `${this.#settings.name} now has the fault "${fault}".`,
    );
    this.#nextPostAt = at;
    this.#scheduleNext();
    return true;
  }

  clearFault(): void {
    this.setFault("none");
  }

  memory(): FeederMemory {
    return this.#scene.feeder.memory();
  }

  async stop(): Promise<void> {
    this.#stopping.abort();
    this.#options.timers.clearTimeout(this.#timer);
    await this.#posting;
  }

  // --- the loop --------------------------------------------------------------------------------------------------------

  wake(): void {
    if (this.#stopping.signal.aborted) return;
    const at = this.#advance();
    if (at >= (this.#postDueAt() ?? Number.POSITIVE_INFINITY)) {
      this.#posting = this.#post(at)
        .catch((error: unknown) => {
          this.#retryLater(`The practice feeder failed: ${String(error)}`);
        })
        .finally(() => {
          this.#posting = null;
          this.#scheduleNext();
        });
    }
    this.#scheduleNext();
  }

  #scheduleNext(): void {
    const { timers } = this.#options;
    timers.clearTimeout(this.#timer);
    if (this.#stopping.signal.aborted) return;
    const due = Math.min(this.#scene.dueAt(), this.#postDueAt() ?? Number.POSITIVE_INFINITY);
    this.#timer = timers.setTimeout(() => this.wake(), Math.max(1, Math.ceil(due - this.#now)));
  }

  /** The wall clock may be set back; the feeder's time may not. */
  #advance(): Instant {
    this.#now = later(this.#now, this.#options.now());
    this.#scene.advance(this.#now);
    this.#scene.setVisitPattern(this.#visitPattern(this.#now), this.#now);
    return this.#now;
  }

  #visitPattern(at: Instant): VisitPattern {
    if (at < this.#drummingUntil) return "drumming";
    return at < this.#flockUntil ? "flock" : at < this.#watchedUntil ? "lively" : "calm";
  }

  /** Null while no report may be sent. */
  #postDueAt(): Instant | null {
    if (this.#posting !== null || this.fault === "silent") return null;
    if (this.#scene.feeder.isQuiet) return this.#nextPostAt;
    return after(this.#nextPostAt, pauseMax);
  }

  async #post(at: Instant): Promise<void> {
    const report = this.#scene.report(at, this.#eventsAtOnce);
    const outcome = await sendReport(this.#server, report, this.#stopping.signal);
    if (this.#stopping.signal.aborted) return;
    this.#handleResult(outcome, report.boot, report.events?.length ?? 0);
  }

  #handleResult(outcome: SendResult, boot: string, sent: number): void {
    const at = this.#advance();
    switch (outcome.kind) {
      case "answered": {
        const { answer } = outcome;
        for (const { seq, field, problem } of answer.refused) {
          this.#options.log.warning(`The server refused event ${seq ?? "without a number"}: ${field} ${problem}`);
        }
        this.#backOff = backOffFirst;
        const before = this.#confirmed();
        this.#scene.handleAnswer(boot, answer, at);
        if (before !== this.#confirmed()) {
          this.#nextPostAt = after(at, confirmationDelay); // whoever requested it is waiting for the confirmation
          return;
        }
        const more = sent > 0 && sent === this.#eventsAtOnce && this.#scene.feeder.spooled > 0;
        this.#nextPostAt = (at + (more ? betweenPages : Math.max(1_000, seconds(answer.nextReportSeconds)))) as Instant;
        return;
      }
      case "tooLarge":
        this.#eventsAtOnce = Math.max(1, Math.floor(this.#eventsAtOnce / 2));
        this.#retryLater(`Too much at once, trying ${this.#eventsAtOnce} events: ${outcome.text}`);
        return;
      case "tooOften":
        this.#retryLater(`Too often: ${outcome.text}`, outcome.retryAfter);
        return;
      case "refused":
        this.#retryLater(`The report was refused: ${outcome.text}`);
        return;
      case "unreachable":
        this.#retryLater(`The server can't be reached: ${outcome.text}`);
        return;
    }
  }

  /** What a keeper waits for, when it changes. */
  #confirmed(): string {
    return `${this.isPaused} ${this.#scene.feeder.planVersion}`;
  }

  /** The wait doubles, with a random part so that feeders which became silent together don't come back at once. */
  #retryLater(text: string, retryAfter: Span | null = null): void {
    const wait = (retryAfter ?? this.#backOff) * this.#random.between(1, 1.25);
    this.#nextPostAt = (this.#now + wait) as Instant;
    this.#backOff = Math.min(backOffMax, this.#backOff * 2) as Span;
    this.#options.log.warning(
      `${text}. Next try in ${Math.round(wait / 1_000)} s; ${this.#scene.feeder.spooled} events wait.`,
    );
  }
}

interface VisitSpans {
  readonly drums: Span;
  readonly flock: Span;
}

const noVisits: VisitSpans = { drums: seconds(0), flock: seconds(0) };
const flockFor = (flock: Span): VisitSpans => ({ drums: seconds(0), flock });

/** Faults that show only while birds come. The others, such as cold, need none. */
const visitsToShow: Readonly<Partial<Record<PracticeFault, VisitSpans>>> = {
  chuteBlind: { drums: seconds(22), flock: seconds(40) },
  hopperEmpty: flockFor(minutes(2)),
  trayJammed: flockFor(minutes(2)),
  feedBridged: flockFor(minutes(2)),
  motorStalled: flockFor(minutes(2)),
  wireOff: flockFor(minutes(2)),
  buttonDead: flockFor(minutes(3)),
  detectorDead: flockFor(minutes(3)),
};

/** How long birds drum and flock after a fault was chosen, so that it, or its repair, shows soon. */
function visitSpans(fault: PracticeFault, before: PracticeFault): VisitSpans {
  const needed = visitsToShow[fault] ?? noVisits;
  return fault === "none" && visitsToShow[before] !== undefined ? flockFor(seconds(45)) : needed;
}
