import { instant } from "../../server/domain/instant.ts";
import { isCivilDaylight } from "../../server/practice/model/light.ts";
import { initialLoadCell, readLoadCell } from "../../server/practice/model/loadCell.ts";
import { readAirThermometer, readSupplyVolts } from "../../server/practice/model/sensors.ts";
import { foodStore, turnTray } from "../../server/practice/model/tray.ts";
import { mildClimate, type Weather, weatherAt } from "../../server/practice/model/weather.ts";
import { practiceCell, practiceDispenser } from "../../server/practice/parts.ts";
import type { RandomSource } from "../../server/practice/random.ts";
import { practiceYard } from "../../server/practice/yard.ts";
import { type BootPosition, minute } from "./knowledge.ts";

/** How one feeder of the scenario behaves, and above all what it does wrong. */
export interface FeederProfile {
  readonly name: string;
  readonly reportEverySeconds: 60 | 120 | 180;
  /** Whether its reports carry the optional reading `paused`. */
  readonly saysPaused: boolean;
  /** After it reported "done" to a pause: feeds on without a statement, reports `paused: false`, or reports `paused: true` and feeds on. */
  readonly falseClaims?: "feedsOn" | "saysNot" | "saysPausedFeedsOn";
  /** What a new start does: forgets a pause, remembers it, or comes back under the old boot id. */
  readonly starts?: "forgets" | "remembers" | "sameBoot";
  readonly junkReadings?: true;
  readonly unreadableSpells?: true;
  readonly seqJumps?: true;
  readonly fullCard?: true;
  readonly byHand?: true;
  /** The keeper entered what is in the hopper and what a portion weighs. */
  readonly settings?: object;
}

const portionGrams = 1.6;
const enteredSettings = { foodKind: "peanutHalves", portionGrams, hopperCapacityGrams: 900 } as const;
const filledHopper = () => foodStore(700, practiceDispenser.tray, portionGrams);

export const profiles: readonly FeederProfile[] = [
  { name: "Rowan", reportEverySeconds: 60, saysPaused: true, starts: "remembers", settings: enteredSettings },
  { name: "Larch", reportEverySeconds: 60, saysPaused: false, starts: "forgets", settings: enteredSettings },
  { name: "Rowan feeds on", reportEverySeconds: 120, saysPaused: false, falseClaims: "feedsOn" },
  { name: "Larch says not", reportEverySeconds: 120, saysPaused: true, falseClaims: "saysNot" },
  { name: "Rowan says paused", reportEverySeconds: 120, saysPaused: true, falseClaims: "saysPausedFeedsOn" },
  { name: "Larch same boot", reportEverySeconds: 120, saysPaused: false, starts: "sameBoot" },
  { name: "Rowan junk", reportEverySeconds: 120, saysPaused: true, junkReadings: true, starts: "forgets" },
  { name: "Larch unreadable", reportEverySeconds: 120, saysPaused: true, unreadableSpells: true, seqJumps: true },
  { name: "Rowan full card", reportEverySeconds: 180, saysPaused: true, fullCard: true, starts: "forgets" },
  { name: "Larch by hand", reportEverySeconds: 60, saysPaused: false, byHand: true },
];

export interface SpooledEvent {
  readonly boot: string;
  readonly place: BootPosition;
  readonly happenedAt: number;
  readonly seq: number;
  readonly kind: string;
  readonly mark: string;
  readonly malformed: boolean;
  readonly body: Readonly<Record<string, unknown>>;
}

/** A report on its way, with what the checks knows about it. */
export interface Outgoing {
  readonly boot: string;
  readonly text: string;
  readonly place: BootPosition | null;
  readonly sentUptimeMs: number | null;
  readonly paused: boolean | null;
  readonly events: readonly SpooledEvent[];
  readonly readable: boolean;
  readonly junk: readonly string[];
  readonly misspelt: readonly string[];
}

interface HandedOrder {
  readonly id: string;
  readonly kind: "pause" | "resume";
  readonly until: string | null;
}

const spoolMax = 400;
const cardMax = 25;

/** A feeder with its own truth, of which the server learns only what the reports contain. */
export class ScenarioFeeder {
  id = "";
  key = "";
  boot: string;
  start = 0;
  paused = false;
  offlineUntil = 0;
  unreadableUntil = 0;
  cardFullUntil = 0;
  spool: SpooledEvent[] = [];
  starts = 0;
  startsWhilePaused = 0;
  private bootedAt: number;
  private seq = 0;
  private marks = 0;
  private pauseEndsAt: number | null = null;
  private food = filledHopper();
  private presses = 0;
  private jumps = 0;

  readonly profile: FeederProfile;
  private readonly chance: RandomSource;
  /** How much more often everything goes wrong than once in hours or days. */
  private readonly hurry: number;

  constructor(profile: FeederProfile, chance: RandomSource, now: number, hurry: number) {
    [this.profile, this.chance, this.hurry] = [profile, chance, hurry];
    this.boot = this.newBoot();
    this.bootedAt = now;
  }

  private newBoot(): string {
    if (this.profile.starts === "sameBoot") return "b-1";
    return `b-${Math.floor(this.chance.uniform() * 2 ** 32).toString(16)}`;
  }

  private uptime(now: number): number {
    return now - this.bootedAt;
  }

  /** One minute of its life. */
  live(now: number): void {
    const { profile } = this;
    if (profile.byHand) return;
    this.mishaps(now);
    if (this.uptime(now) >= 2 * minute) this.addVisit(now);
    // Only now: what happened in this minute is dated before it, and so before the moment at which a pause ends.
    if (this.pauseEndsAt !== null && now >= this.pauseEndsAt) [this.paused, this.pauseEndsAt] = [false, null];
  }

  private addVisit(now: number): void {
    const { chance, profile } = this;
    const daylight = isCivilDaylight(practiceYard.place, instant(now));
    const liesNow = this.paused && profile.falseClaims !== undefined;
    const feeds = !this.paused || profile.falseClaims !== undefined;
    if (chance.isTrueWith(daylight ? 0.25 : 0.02)) this.record("visit", now, 50);
    if (feeds && chance.isTrueWith(liesNow ? 0.5 : daylight ? 0.25 : 0.01)) {
      this.presses += 1;
      const press = this.record("press", now, 40);
      this.record("portion", now, 30, { cause: "press", paysFor: press.seq, motorMs: 900, ...this.turnTray(now) });
    }
  }

  private turnTray(now: number) {
    if (this.foodGrams < 60) this.food = filledHopper();
    const conditions = { fault: null, portionGrams, insideCelsius: weatherOf(now).insideCelsius };
    const { store, portion } = turnTray(this.food, practiceDispenser, conditions, this.chance);
    this.food = store;
    return { meanMilliamps: Math.round(portion.milliamps), chuteCount: portion.seen };
  }

  private get foodGrams(): number {
    return this.food.hopperGrams + this.food.trayGrams;
  }

  private mishaps(now: number): void {
    const { chance, profile, hurry } = this;
    if (now > this.offlineUntil && chance.isTrueWith(hurry / 900))
      this.offlineUntil = now + chance.between(3, 90) * minute;
    if (profile.unreadableSpells && now > this.unreadableUntil && chance.isTrueWith(hurry / 400)) {
      this.unreadableUntil = now + chance.between(30, 180) * minute;
    }
    if (profile.fullCard && now > this.cardFullUntil && chance.isTrueWith(hurry / 400)) {
      this.cardFullUntil = now + chance.between(60, 300) * minute;
      this.record("trouble", now, 20, { words: "the card is full: readings are not kept" });
    }
    if (profile.seqJumps && this.jumps < 2 && chance.isTrueWith(hurry / 1_500)) {
      this.seq += 2 ** 40;
      this.jumps += 1;
    }
    // A feeder that was just paused is worn down by the same weather: its starts come where they hurt.
    if (profile.starts !== undefined && chance.isTrueWith(this.paused ? 1 / 60 : hurry / 700)) this.restart(now);
  }

  private restart(now: number): void {
    this.starts += 1;
    if (this.paused) this.startsWhilePaused += 1;
    this.start += 1;
    this.boot = this.newBoot();
    this.bootedAt = now - Math.floor(this.chance.between(5_000, 30_000));
    this.seq = 0;
    if (this.profile.starts === "sameBoot") this.spool = []; // it keeps all in memory
    if (this.profile.starts !== "remembers") {
      this.paused = false;
      this.pauseEndsAt = null;
    }
  }

  private record(kind: string, now: number, secondsAgo: number, more: object = {}, malformed = false): SpooledEvent {
    this.seq += 1;
    this.marks += 1;
    const uptimeMs = Math.max(0, this.uptime(now) - secondsAgo * 1_000);
    const mark = `${this.profile.name}/${this.start}/${this.marks}`;
    const event: SpooledEvent = {
      boot: this.boot,
      place: { start: this.start, uptimeMs },
      happenedAt: this.bootedAt + uptimeMs,
      seq: this.seq,
      kind,
      mark,
      malformed,
      body: { seq: this.seq, uptimeMs, kind, mark, ...more },
    };
    this.spool.push(event);
    this.dropOverflow(now);
    return event;
  }

  private dropOverflow(now: number): void {
    const most = now < this.cardFullUntil ? cardMax : spoolMax;
    while (this.spool.length > most) {
      const least = this.spool.findIndex(({ kind }) => kind === "press" || kind === "visit");
      this.spool.splice(Math.max(0, least), 1);
    }
  }

  isOnline(now: number): boolean {
    return now > this.offlineUntil;
  }

  /** Whether it reports in this minute. */
  reportsAt(now: number, step: number): boolean {
    if (this.profile.byHand) return step === 30 || step === 2_000;
    return this.isOnline(now) && (step * 60) % this.profile.reportEverySeconds === 0;
  }

  /** What is sent now: first what earlier starts left behind, then the present. */
  reports(now: number): Outgoing[] {
    const boots = [...new Set(this.spool.map(({ boot }) => boot))].filter((boot) => boot !== this.boot);
    return [...boots.map((boot) => this.reportOf(boot, now, false)), this.reportOf(this.boot, now, true)];
  }

  private reportOf(boot: string, now: number, isPresent: boolean): Outgoing {
    const { chance, profile } = this;
    if (isPresent && profile.junkReadings && chance.isTrueWith(0.02)) {
      this.record("lid", now, 3, { open: "perhaps" }, true); // refused alone, with its reason
    }
    const events = this.spool.filter((event) => event.boot === boot).slice(0, 500);
    const sentUptimeMs = isPresent ? this.uptime(now) : null;
    const paused = isPresent && profile.saysPaused ? this.reportsPaused() : null;
    const { readings, junk, misspelt } = this.readings(now, isPresent, paused);
    const isUnreadable = isPresent && now < this.unreadableUntil;
    const text = JSON.stringify({
      boot: isUnreadable ? "no boot id at all" : boot,
      sentUptimeMs,
      readings,
      events: events.map(({ body }) => body),
    }).replaceAll('"@NaN"', "NaN");
    const place = isPresent ? { start: this.start, uptimeMs: sentUptimeMs as number } : null;
    return { boot, text, place, sentUptimeMs, paused, events, readable: !isUnreadable, junk, misspelt };
  }

  private reportsPaused(): boolean {
    if (this.profile.falseClaims === "saysNot") return false;
    return this.paused;
  }

  private readings(now: number, isPresent: boolean, paused: boolean | null) {
    if (!isPresent || (now < this.cardFullUntil && this.chance.isTrueWith(0.5))) {
      return { readings: paused === null ? null : { paused }, junk: [], misspelt: [] };
    }
    const readings: Record<string, unknown> = {
      hopperGrams: readLoadCell(initialLoadCell(15), practiceCell, this.foodGrams, 0, this.chance),
      airCelsius: readAirThermometer(weatherOf(now), 1, this.chance),
      supplyVolts: readSupplyVolts(this.chance),
      counts: { button: this.presses },
      ...(paused === null ? {} : { paused }),
    };
    if (!this.profile.junkReadings || !this.chance.isTrueWith(0.3)) return { readings, junk: [], misspelt: [] };
    const [junk, misspelt] = [["airCelsius"], [] as string[]];
    readings.airCelsius = this.oneOf(["@NaN", "NaN", "-6.2", "", true, { value: 3 }, [1], 1e300, -127]);
    if (this.chance.isTrueWith(0.3)) {
      readings.hopperGram = 700;
      misspelt.push("hopperGram");
    }
    return { readings, junk, misspelt };
  }

  private oneOf<T>(all: readonly T[]): T {
    return all[Math.floor(this.chance.uniform() * all.length)] as T;
  }

  /** @returns what it may forget now */
  answered(boot: string, storedThrough: number | null, orders: readonly HandedOrder[], now: number): SpooledEvent[] {
    const forgets = this.spool.filter(
      (event) => event.boot === boot && storedThrough !== null && event.seq <= storedThrough,
    );
    this.spool = this.spool.filter((event) => !forgets.includes(event));
    const newest = orders.at(-1);
    if (newest !== undefined) this.applyOrders(newest, now);
    return forgets;
  }

  private applyOrders(order: HandedOrder, now: number): void {
    if (this.spool.some(({ kind, body }) => kind === "order" && body.order === order.id)) return; // its answer waits
    const until = order.until === null ? null : Date.parse(order.until);
    const isOver = until !== null && until <= now;
    this.paused = order.kind === "pause" && !isOver;
    this.pauseEndsAt = this.paused ? until : null;
    this.record("order", now, -0.4, { order: order.id, outcome: "done" }); // a moment after the answer came
  }
}

const weatherOf = (now: number): Weather => weatherAt(1, practiceYard.place, instant(now), mildClimate);
