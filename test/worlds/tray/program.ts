import type { Story } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { Beam } from "./beam.ts";
import type { Doings } from "./birds.ts";
import type { Board } from "./board.ts";
import type { Drive } from "./drive.ts";
import type { Hopper } from "./hopper.ts";
import type { Ledger } from "./ledger.ts";
import type { PlantedFault } from "./plantedFault.ts";
import type { Power } from "./power.ts";
import type { Random } from "./random.ts";
import { daylightOf } from "./sun.ts";
import { hour, minute, second } from "./time.ts";
import type { Warmth } from "./warmth.ts";
import type { Sky } from "./weather.ts";
import type { Wires } from "./wires.ts";

export interface ProgramParts {
  readonly agenda: Agenda;
  readonly board: Board;
  readonly drive: Drive;
  readonly hopper: Hopper;
  readonly beam: Beam;
  readonly power: Power;
  readonly warmth: Warmth;
  readonly wires: Wires;
  readonly sky: Sky;
  readonly ledger: Ledger;
  readonly fault: PlantedFault;
  readonly meanPiece: number;
}

type Cause = "timer" | "press" | "deposit" | "keeper";

type PortionFields = Record<string, string | number>;

/** The feeder's own program with its button, slot and perch: which press and which deposit earns a portion, and how long the tray shakes. */
export class Program implements Doings {
  private readonly random: Random;
  private readonly story: Story;
  private readonly parts: ProgramParts;
  private readonly build;
  private lockedUntil = 0;
  private hourBegan = 0;
  private runsThisHour = 0;
  private visitAt = 0;

  constructor(random: Random, story: Story, parts: ProgramParts) {
    this.random = random;
    this.story = story;
    this.parts = parts;
    const { sensors } = story;
    const { size } = parts.hopper;
    const portionsDaily = size.dailyGrams / size.portionGrams;
    const isBare = !sensors.button && !sensors.detector;
    this.build = {
      runMs: random.logBetween(300, 4000),
      // Some shake until the beam has counted enough, and give up after a while.
      countsToEnd:
        sensors.chute && random.chance(0.25) ? Math.max(1, Math.round(size.portionGrams / parts.meanPiece)) : 0,
      longest: random.between(1.3, 2.5),
      pressFelt: random.between(0.75, 0.99),
      bounces: random.pick([0, random.between(0, 0.06)]),
      pressPays: sensors.detector ? random.between(0.3, 1) : random.between(0.6, 1),
      lock: random.logBetween(2, 40) * second,
      hourMost: random.whole(15, 80),
      nights: random.chance(0.3), // it also gives food in the dark
      timerDaily: isBare ? Math.max(2, Math.round(portionsDaily)) : random.pick([0, 0, 1, 3, 6]),
      metalSeen: random.between(0.9, 0.995),
      falseMetal: random.between(0, 0.04),
      signal: random.between(0.4, 0.9),
      slotBeam: random.chance(0.6),
      perchFelt: random.between(0.7, 1),
      visitGap: random.logBetween(2, 60) * second,
      chatterGap: random.logBetween(5, 50) * minute,
      chatterPresses: random.logBetween(5, 60),
    };
    if (sensors.button && parts.fault.isPlanned("buttonChatters")) this.planChatter(parts.fault.begin());
  }

  actsADay(): number {
    const { hopper } = this.parts;
    return hopper.size.dailyGrams / hopper.size.portionGrams / (0.85 * this.build.pressPays);
  }

  land(at: number): void {
    const { board, fault } = this.parts;
    if (!this.story.sensors.perch || fault.is("perchDead", at) || !this.random.chance(this.build.perchFelt)) return;
    board.count("perch");
    if (at < this.visitAt + this.build.visitGap) return;
    this.visitAt = at;
    board.record(at, "visit");
  }

  press(at: number): void {
    if (!this.story.sensors.button || this.parts.fault.is("buttonDead", at)) return;
    if (!this.random.chance(this.build.pressFelt)) return;
    this.closeContact(at);
    if (!this.random.chance(this.build.bounces)) return;
    this.parts.agenda.add(at + this.random.between(30, 250), (now) => this.closeContact(now));
  }

  deposit(at: number, isCap: boolean): void {
    if (!this.story.sensors.detector) return;
    const { build, random } = this;
    const { board, fault } = this.parts;
    const isDeaf = fault.is("detectorDeaf", at);
    const metal = !isDeaf && random.chance(isCap ? build.metalSeen : build.falseMetal);
    if (!metal && !build.slotBeam) return;
    const strength = metal ? build.signal * random.logNormal(0.15) : Math.abs(random.normal(0, 0.02));
    if (metal) board.count("detector");
    const signal = Math.round(100 * Math.min(1, strength)) / 100;
    const fell = build.slotBeam && { chute: random.chance(0.985) };
    const seq = board.record(at, "deposit", { metal, signal, ...fell });
    if (metal && seq !== null && !fault.is("paysNoMore", at))
      this.planRun(at + random.between(100, 700), "deposit", seq);
  }

  planDay(ofDay: number, from: number): void {
    const { sunrise, sunset } = daylightOf(ofDay);
    const { timerDaily } = this.build;
    for (let index = 0; index < timerDaily; index += 1) {
      const at = Math.round((sunrise + ((sunset - sunrise) * (index + 0.5)) / timerDaily) / minute) * minute;
      if (at > from) this.planRun(at, "timer", null);
    }
  }

  runByHand = (at: number): void => this.planRun(at, "keeper", null);

  private closeContact(at: number): void {
    const { board } = this.parts;
    board.count("button");
    const seq = board.record(at, "press");
    if (seq === null || !this.random.chance(this.build.pressPays)) return;
    this.planRun(at + this.random.between(50, 500), "press", seq);
  }

  private planRun(at: number, cause: Cause, paysFor: number | null): void {
    const { board } = this.parts;
    const { starts } = board;
    this.parts.agenda.add(at, (now) => {
      if (board.isOn && board.starts === starts && this.mayRun(now, cause)) this.run(now, cause, paysFor);
    });
  }

  private mayRun(at: number, cause: Cause): boolean {
    if (cause === "keeper") return true;
    const { build } = this;
    if (at < this.lockedUntil || (!build.nights && this.parts.sky.sunHeight < -0.1)) return false;
    if (at > this.hourBegan + hour) [this.hourBegan, this.runsThisHour] = [at, 0];
    this.runsThisHour += 1;
    return this.runsThisHour <= build.hourMost;
  }

  private run(at: number, cause: Cause, paysFor: number | null): void {
    const { agenda, beam, board, drive, hopper, power, sky, warmth, wires } = this.parts;
    const { build, random } = this;
    const moved = drive.run({
      at,
      volts: power.strength(),
      celsius: warmth.inside,
      fill: hopper.fill(),
      ohms: wires.ohms(),
    });
    const counts = build.countsToEnd > 0;
    const longestMs = build.runMs * (counts ? build.longest : 1);
    const meanGap = build.runMs / (hopper.size.portionGrams / this.parts.meanPiece);
    let [seen, fallAt] = [0, 0];
    beam.startRun();
    const drop = hopper.run(moved.strength * (counts ? build.longest : 1), at, (grams) => {
      fallAt += random.exponential(meanGap);
      seen += beam.see(grams, fallAt, at);
      return counts && seen >= build.countsToEnd;
    });
    this.parts.ledger.enterRun(at, drop, moved.strength > 0);
    const motorMs = Math.max(20, Math.round(longestMs * drop.runShare * (1 + random.normal(0, 0.004))));
    seen += beam.strayCounts(at, motorMs, sky);
    this.lockedUntil = at + motorMs + build.lock;
    const { starts } = board;
    agenda.add(at + motorMs, (now) => {
      if (!board.isOn || board.starts !== starts) return;
      board.count("chute", seen);
      this.recordPortion(now, paysFor === null ? { cause, motorMs } : { cause, paysFor, motorMs }, moved, seen);
    });
  }

  private recordPortion(at: number, known: PortionFields, moved: ReturnType<Drive["run"]>, seen: number): void {
    const { sensors } = this.story;
    if (!sensors.portionEvents) return;
    const lowestVolts = this.parts.power.lowestVolts(moved.peakMilliamps);
    if (sensors.motorCurrent) {
      known.meanMilliamps = moved.meanMilliamps;
      known.peakMilliamps = moved.peakMilliamps;
    }
    if (sensors.chute) known.chuteCount = seen;
    if (lowestVolts !== null) known.lowestVolts = lowestVolts;
    this.parts.board.record(at, "portion", known);
  }

  /** A wire that makes and breaks contact by itself: bursts of presses, at night as by day. */
  private planChatter(from: number): void {
    const { build, random } = this;
    this.parts.agenda.add(from + random.exponential(build.chatterGap), (at) => {
      let next = at;
      for (let count = 1 + Math.round(random.exponential(build.chatterPresses)); count > 0; count -= 1) {
        this.parts.agenda.add(next, (now) => this.closeContact(now));
        next += random.logBetween(30, 2000);
      }
      this.planChatter(next);
    });
  }
}
