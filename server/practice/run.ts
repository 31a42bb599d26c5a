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
  readonly settings?: PracticeSettings; // Rowan unless said
  readonly seed: number; // give both feeders of the yard the same, and they share its weather
  readonly now: () => Instant;
  readonly fetch: typeof globalThis.fetch;
  readonly timers: Timers;
  readonly log: PracticeLog;
  /** How far back the told past goes, at most; 0 for none. */
  readonly history?: Span;
  /** When this feeder was last heard, so that a restart doesn't tell the same hours twice with other birds. */
  readonly reportedUntil?: Instant | null;
  /** What the server believes to be in the hopper, so that a restart doesn't look like a refill. */
  readonly hopperGrams?: number;
  /** What an earlier run left on the feeder's disk. */
  readonly memory?: FeederMemory;
}

export interface PracticeLog {
  info(words: string): void;
  warning(words: string): void;
}

export interface Practice {
  /** Ends it; resolves when no request is under way any more. */
  stop(): Promise<void>;
  /** @returns false where this feeder can't have that fault (see `showsFault`); nothing changes then. */
  setFault(fault: PracticeFault): boolean;
  clearFault(): void;
  readonly fault: PracticeFault;
  readonly isPaused: boolean;
  memory(): FeederMemory;
}

/**
 * Runs one simulated feeder against a server, through the same door as a real one. First it tells the past day and a half, in
 * which birds came by daylight only; from then on its birds ignore darkness, so that it is lively at any hour.
 */
export function startPractice(options: PracticeOptions): Practice {
  const run = new Run(options);
  run.wake();
  return run;
}

/** A past of a day and a half always holds the daylight of one whole day. */
const historyMax: Span = hours(36);
const historyMin: Span = minutes(10);
/** So long after a start or a choice somebody is taken to be watching. */
const watchTime: Span = minutes(15);
/** A report waits a little for a quiet moment, in which the hopper can be weighed. */
const pauseMax: Span = seconds(3);
const backOffFirst: Span = seconds(2);
const backOffMax: Span = seconds(60);
const proofAfter: Span = seconds(1);
const betweenPages: Span = 200 as Span;

class Run implements Practice {
  readonly #options: PracticeOptions;
  readonly #door: ServerConnection;
  readonly #chance: RandomSource;
  readonly #scene: Scene;
  readonly #stopping = new AbortController();
  #now: Instant;
  #nextPostAt: Instant;
  #drumsUntil: Instant;
  #flockUntil: Instant;
  #watchedUntil: Instant;
  #posting: Promise<void> | null = null;
  #timer: unknown = null;
  #backOff: Span = backOffFirst;
  #eventsAtOnce = eventsPerReportMax;

  constructor(options: PracticeOptions) {
    this.#options = options;
    this.#door = { url: options.url, key: options.key, fetch: options.fetch, timers: options.timers };
    this.#now = options.now();
    this.#nextPostAt = this.#now;
    this.#drumsUntil = this.#now;
    this.#flockUntil = this.#now;
    this.#watchedUntil = after(this.#now, watchTime);
    // Start and feeder are mixed in, or every restart would replay the same birds, and both feeders' birds move as one.
    const luck = (this.#now % 2 ** 31) ^ (this.#settings.name === "Rowan" ? 0 : 0x5bd1e995);
    this.#chance = seededRandom(options.seed ^ luck);
    this.#scene = this.#livedThrough();
    options.log.info(
      `${this.#settings.name} is up with ${this.#scene.feeder.spooled} events to tell. Its practice birds ignore darkness.`,
    );
  }

  get #settings(): PracticeSettings {
    return this.#options.settings ?? rowan;
  }

  /** The past is lived through by the same birds and the same feeder, so the level it ends at is the level it tells. */
  #livedThrough(): Scene {
    const { history = historyMax, reportedUntil: heardUntil = null, hopperGrams, memory, seed, log } = this.#options;
    const wanted = before(this.#now, Math.min(history, historyMax) as Span);
    const from = heardUntil === null ? wanted : later(wanted, heardUntil);
    const since = this.#now - from >= historyMin ? from : this.#now;
    let telling = false; // the past is not read aloud
    const scene = new Scene({
      settings: this.#settings,
      seed,
      chance: this.#chance,
      hopperGrams: hopperGrams ?? (since < this.#now ? 0.4 : 0.85) * this.#settings.hopperCapacityGrams,
      memory: memory ?? { spool: [], orderState: initialOrderState },
      boot: `b-${this.#now.toString(36)}-${Math.floor(this.#chance.uniform() * 36 ** 5).toString(36)}`,
      visitPattern: "daylight",
      startsAt: since,
      narrate: (words) => {
        if (telling) log.info(words);
      },
    });
    scene.advance(this.#now);
    scene.setRhythm("lively", this.#now);
    telling = true;
    return scene;
  }

  // --- the hands of whoever practises ----------------------------------------------------------------------------------

  get fault(): PracticeFault {
    return this.#scene.world.fault;
  }

  get isPaused(): boolean {
    return this.#scene.feeder.paused;
  }

  setFault(fault: PracticeFault): boolean {
    if (!canHaveFault(this.#settings, fault)) return false;
    if (fault === this.fault) return true;
    const at = this.#advance();
    const { drums, flock } = visitSpans(fault, this.fault);
    this.#drumsUntil = after(at, drums);
    this.#flockUntil = after(at, flock);
    this.#watchedUntil = after(at, watchTime);
    this.#scene.fail(fault, at);
    this.#scene.setRhythm(this.#rhythm(at), at);
    this.#options.log.info(
      fault === "none" ? `${this.#settings.name} is healthy.` : `${this.#settings.name} now has the fault "${fault}".`,
    );
    this.#nextPostAt = at;
    this.#rest();
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
          this.#later(`The practice feeder stumbled: ${String(error)}`);
        })
        .finally(() => {
          this.#posting = null;
          this.#rest();
        });
    }
    this.#rest();
  }

  #rest(): void {
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
    this.#scene.setRhythm(this.#rhythm(this.#now), this.#now);
    return this.#now;
  }

  #rhythm(at: Instant): VisitPattern {
    if (at < this.#drumsUntil) return "drumming";
    return at < this.#flockUntil ? "flock" : at < this.#watchedUntil ? "lively" : "calm";
  }

  /** Null while no report may be sent. */
  #postDueAt(): Instant | null {
    if (this.#posting !== null || this.fault === "silent") return null;
    if (this.#scene.feeder.quiet) return this.#nextPostAt;
    return after(this.#nextPostAt, pauseMax);
  }

  async #post(at: Instant): Promise<void> {
    const report = this.#scene.report(at, this.#eventsAtOnce);
    const outcome = await sendReport(this.#door, report, this.#stopping.signal);
    if (this.#stopping.signal.aborted) return;
    this.#hear(outcome, report.boot, report.events?.length ?? 0);
  }

  #hear(outcome: SendResult, boot: string, sent: number): void {
    const at = this.#advance();
    switch (outcome.kind) {
      case "answered": {
        const { answer } = outcome;
        for (const { seq, field, problem } of answer.refused) {
          this.#options.log.warning(`The server refused event ${seq ?? "without a number"}: ${field} ${problem}`);
        }
        this.#backOff = backOffFirst;
        const wasPaused = this.isPaused;
        this.#scene.answered(boot, answer, at);
        if (wasPaused !== this.isPaused) {
          this.#nextPostAt = after(at, proofAfter); // whoever asked is waiting for the proof
          return;
        }
        const more = sent > 0 && sent === this.#eventsAtOnce && this.#scene.feeder.spooled > 0;
        this.#nextPostAt = (at + (more ? betweenPages : Math.max(1_000, seconds(answer.nextReportSeconds)))) as Instant;
        return;
      }
      case "tooLarge":
        this.#eventsAtOnce = Math.max(1, Math.floor(this.#eventsAtOnce / 2));
        this.#later(`Too much at once, trying ${this.#eventsAtOnce} events: ${outcome.text}`);
        return;
      case "tooOften":
        this.#later(`Too often: ${outcome.words}`, outcome.retryAfter);
        return;
      case "refused":
        this.#later(`The report was refused: ${outcome.words}`);
        return;
      case "unreachable":
        this.#later(`The server can't be reached: ${outcome.words}`);
        return;
    }
  }

  /** Doubling waits, with some luck in them so that feeders which fell silent together don't come back as one. */
  #later(words: string, asked: Span | null = null): void {
    const wait = (asked ?? this.#backOff) * this.#chance.between(1, 1.25);
    this.#nextPostAt = (this.#now + wait) as Instant;
    this.#backOff = Math.min(backOffMax, this.#backOff * 2) as Span;
    this.#options.log.warning(
      `${words}. Next try in ${Math.round(wait / 1_000)} s; ${this.#scene.feeder.spooled} events wait.`,
    );
  }
}

/** How long birds drum and flock after a fault was chosen: its signs come by them, or they don't; cold needs no birds. */
function visitSpans(fault: PracticeFault, before: PracticeFault): { readonly drums: Span; readonly flock: Span } {
  switch (fault) {
    case "chuteBlind":
      return { drums: seconds(22), flock: seconds(40) };
    case "hopperEmpty":
    case "trayJammed":
    case "feedBridged":
    case "motorStalled":
    case "wireOff":
      return { drums: seconds(0), flock: minutes(2) };
    case "buttonDead":
    case "detectorDead":
      return { drums: seconds(0), flock: minutes(3) };
    case "none": {
      // Healed: that it works again shall show as soon.
      const byBirds = before !== "none" && visitSpans(before, "none").flock > 0;
      return { drums: seconds(0), flock: seconds(byBirds ? 45 : 0) };
    }
    case "scaleDead":
    case "silent":
    case "coldNight":
    case "weakBattery":
    case "chargingInFrost":
    case "ignoresOrders":
      return { drums: seconds(0), flock: seconds(0) };
  }
}
