import { type Instant, instant, milliseconds } from "../../server/domain/instant.ts";
import type { Deposit, EventContent, FeederEvent, Portion, PortionCause, Press } from "../../server/domain/report.ts";
import { milliamps } from "../../server/domain/units.ts";
import { type Episode, present } from "./faults.ts";
import type { Conditions } from "./livedDay.ts";
import type { Random } from "./random.ts";
import type { SiteTraits } from "./traits.ts";

/**
 * The feeder of a site for one day: it senses, pays and records as the feeder's own program does (an act says whether
 * it earns, a portion says what it pays, what comes while paused is never paid). Events are kept as drafts, since birds
 * act beside each other; `record` numbers them in time order.
 */
export class Feeder {
  dishGrams = 0;
  private readonly drafts: Draft[] = [];
  private readonly setting: FeederSetting;
  private readonly random: Random;
  private actsSincePaid: number;
  private motorFreeAt = 0;

  constructor(setting: FeederSetting, random: Random, actsSincePaid: number) {
    this.setting = setting;
    this.random = random;
    this.actsSincePaid = actsSincePaid;
  }

  get unpaidActs(): number {
    return this.actsSincePaid;
  }

  /** @returns when food fell, or null where none did */
  giveFree(at: number, cause: "timer" | "keeper" = "timer"): number | null {
    if (this.fault("paused", at)) return null;
    return this.run(at, cause, null);
  }

  /** The act of the stage, by bird or wind. @returns when food fell for it, or null */
  act(at: number): number | null {
    const { stage } = this.setting.conditions;
    const kind = stage === "pressForFood" ? "press" : "deposit";
    if (!this.senses(at)) return null;
    const earns = !this.fault("paused", at) && this.isPaidNow();
    const draft = this.add(at, kind === "press" ? { kind, earns } : this.deposit(true, earns));
    if (!earns) return null;
    const latency = this.setting.traits.latencySeconds * 1_000 * this.random.factor(0.15);
    return this.run(at + Math.min(3_000, Math.max(300, latency)), kind, draft);
  }

  /** A press where presses aren't what is taught: recorded, never paid. */
  pressInVain(at: number): void {
    this.add(at, { kind: "press", earns: false } satisfies Press);
  }

  /** A leaf, a stone: the slot's beam sees it, the detector finds no metal. */
  reject(at: number): void {
    if (this.setting.hasDetector && this.senses(at)) this.add(at, this.deposit(false, false));
  }

  visit(at: number): void {
    const { traits } = this.setting;
    if (!traits.hasPerch || !this.random.chance(traits.perchSenses)) return;
    if (this.setting.conditions.stage === "comeForFood" && !this.senses(at)) return;
    // A feeder whose line is down for long has no room for all: visits go first.
    const offline = this.fault("offline", at);
    if (offline !== undefined && at - offline.from > 4 * 3_600_000 && this.random.chance(0.5)) return;
    this.add(at, { kind: "visit" });
  }

  openLid(from: number, to: number, isRefill: boolean): void {
    this.add(from, { kind: "lid", open: true });
    if (isRefill) this.add((from + to) / 2, { kind: "refill", added: null, full: true });
    this.add(to, { kind: "lid", open: false });
  }

  /** @returns the events in time order, numbered from `firstSeq` on */
  record(firstSeq: number): readonly FeederEvent[] {
    const ordered = this.drafts.toSorted((a, b) => a.at - b.at || a.order - b.order);
    const seqOf = new Map(ordered.map((draft, index) => [draft, firstSeq + index]));
    return ordered.map((draft, index): FeederEvent => {
      const stamp = { seq: firstSeq + index, recordedAt: draft.at };
      if (draft.content.kind !== "portion" || draft.pays === null) return { ...draft.content, ...stamp };
      return { ...draft.content, paysFor: seqOf.get(draft.pays) ?? null, ...stamp };
    });
  }

  get visits(): number {
    return this.drafts.filter(({ content }) => content.kind === "visit").length;
  }

  private isPaidNow(): boolean {
    this.actsSincePaid += 1;
    if (this.actsSincePaid < this.setting.conditions.paysEvery) return false;
    this.actsSincePaid = 0;
    return true;
  }

  private senses(at: number): boolean {
    const deaf = this.fault("detectorDeaf", at);
    return deaf === undefined || this.random.chance(deaf.left);
  }

  private run(dueAt: number, cause: PortionCause, pays: Draft | null): number | null {
    const at = Math.max(dueAt, this.motorFreeAt);
    const isJammed = this.fault("jammed", at) !== undefined;
    const falls = !isJammed && this.fault("foodOut", at) === undefined;
    const motorRan = (isJammed ? 1_500 : 900) + Math.round(60 * this.random.normal());
    this.motorFreeAt = at + motorRan + 200;
    const current = 240 + 12 * this.random.normal();
    const portion: Portion = {
      kind: "portion",
      cause,
      paysFor: null,
      motorRan: milliseconds(motorRan),
      meanCurrent: milliamps(Math.round(current * (isJammed ? 2 : 1))),
      peakCurrent: milliamps(Math.round(current * (isJammed ? 4 : 2.4))),
      chuteCount: this.chuteCount(falls),
      lowestSupply: null,
    };
    this.add(at, portion, pays);
    if (!falls) return null;
    this.dishGrams += this.setting.conditions.gramsEach;
    return at + motorRan;
  }

  private chuteCount(falls: boolean): number | null {
    if (!this.setting.traits.hasChuteSensor) return null;
    return falls ? 1 + this.random.poisson(3 * this.setting.conditions.gramsEach) : 0;
  }

  private deposit(metal: boolean, earns: boolean): Deposit {
    const signal = metal ? this.random.between(0.45, 1) : this.random.between(0, 0.12);
    return { kind: "deposit", metal, signal: Math.round(100 * signal) / 100, chute: true, earns };
  }

  private fault = (kind: Episode["kind"], at: number) => present(this.setting.episodes, kind, at);

  private add(at: number, content: EventContent, pays: Draft | null = null): Draft {
    const draft = { at: instant(Math.round(at)), order: this.drafts.length, content, pays };
    this.drafts.push(draft);
    return draft;
  }
}

export interface FeederSetting {
  readonly conditions: Conditions;
  readonly traits: SiteTraits;
  readonly episodes: readonly Episode[];
  readonly hasDetector: boolean;
}

interface Draft {
  readonly at: Instant;
  readonly order: number;
  readonly content: EventContent;
  readonly pays: Draft | null;
}
