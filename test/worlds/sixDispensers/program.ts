import { day, hour, minute, second } from "./agenda.ts";
import type { Turn } from "./drive.ts";
import type { BirdAct } from "./flock.ts";
import type { Parts } from "./parts.ts";
import { dayBegin } from "./place.ts";
import { type Stream, Wander } from "./stream.ts";

type Cause = "timer" | "press" | "deposit" | "keeper";

/** What pays, and how often: keepers train in stages, so that some feeders pay each press and some only litter. */
interface Rules {
  readonly pressPays: number; // share of presses
  readonly depositPays: number;
  readonly timerPerDay: number;
  readonly dailyMax: number; // portions
  readonly pauseAfter: number; // before the next portion
  readonly reaction: number;
  readonly paysAtNight: boolean;
}

export function drawRules(stream: Stream, sensors: Parts["story"]["sensors"]): Rules {
  const isLateStage = sensors.detector && stream.chance(0.35); // only litter pays
  const needsTimer = !sensors.button && !sensors.detector;
  return {
    pressPays: sensors.button && !isLateStage ? stream.pick([1, 1, 0.5, 0.25]) : 0,
    depositPays: sensors.detector ? stream.pick([1, 1, 0.8]) : 0,
    timerPerDay: needsTimer ? stream.whole(8, 70) : stream.pick([0, 0, 2, 4, 8, 12]),
    dailyMax: stream.whole(25, 220),
    pauseAfter: stream.logUniform(1.5, 45) * second,
    reaction: stream.uniform(60, 900),
    paysAtNight: stream.chance(0.5),
  };
}

/** What the feeder's own sensors make of birds; ranges from practice, no source. */
interface Senses {
  readonly pressMissed: number;
  readonly pressTwice: number; // bounces
  readonly perchMissed: number;
  readonly slotBeam: boolean;
  readonly capMissed: number;
  readonly capSignal: number;
  readonly otherAsMetal: number; // ring-pulls and foil among what isn't a cap
  readonly nightPerches: number; // a night: mice, martens, leaves in the wind
  readonly strayPresses: number; // a day: ice, wet contacts, twigs
}

function drawSenses(stream: Stream): Senses {
  return {
    pressMissed: stream.uniform(0.01, 0.15),
    pressTwice: stream.logUniform(0.001, 0.04),
    perchMissed: stream.uniform(0.01, 0.25),
    slotBeam: stream.chance(0.6),
    capMissed: stream.uniform(0.005, 0.1),
    capSignal: stream.uniform(0.35, 0.9),
    otherAsMetal: stream.uniform(0, 0.06),
    nightPerches: stream.chance(0.5) ? 0 : stream.logUniform(0.02, 1),
    strayPresses: stream.chance(0.6) ? 0 : stream.logUniform(0.01, 0.4),
  };
}

/** The feeder's program: it senses the birds, gives portions and records both. */
export class Program {
  readonly #parts: Parts;
  readonly #rules: Rules;
  readonly #senses: Senses;
  readonly #stream: Stream;
  readonly #capDrift: Wander;
  readonly #sends: { readonly paysFor: boolean; readonly motorMs: boolean; readonly stampsStart: boolean };
  readonly #chatterEvery: number; // mean span between bursts of a chattering contact
  #given = 0; // today
  #busyUntil = 0;
  #underWay: { readonly boot: string; readonly cause: Cause } | null = null;

  constructor(parts: Parts, rules: Rules) {
    this.#parts = parts;
    this.#rules = rules;
    this.#stream = parts.stream("program");
    this.#senses = drawSenses(parts.stream("senses"));
    this.#capDrift = new Wander(parts.stream("capDrift"), 0.05, 10 * day, parts.begin);
    const stream = this.#stream;
    this.#chatterEvery = stream.logUniform(0.5, 5) * hour;
    this.#sends = { paysFor: stream.chance(0.85), motorMs: stream.chance(0.9), stampsStart: stream.chance(0.3) };
  }

  begin(at: number): void {
    this.#planDay(dayBegin(at, this.#parts.place.longitude), at);
  }

  sense(act: BirdAct, now: number): void {
    if (act === "lands") this.#lands(now);
    else if (act === "presses") this.#pressed(now);
    else this.#dropped(now, act === "dropsCap");
  }

  /** The contact closes and opens by itself: wet or worn. It begins with the fault and doesn't end. */
  chatter(now: number): void {
    const stream = this.#stream;
    const presses = Math.min(150, 3 + Math.floor(stream.exponential(18)));
    let at = now;
    for (let press = 0; press < presses; press += 1) {
      at += 60 + stream.exponential(260);
      this.#parts.agenda.add(at, (then) => this.#registerPress(then));
    }
    this.#parts.agenda.add(at + minute + stream.exponential(this.#chatterEvery), (then) => this.chatter(then));
  }

  /** The computer stops: a portion that was under way is known to it afterwards only where it keeps its events on a card. */
  interrupt(now: number): void {
    const { board } = this.#parts;
    if (
      this.#underWay !== null &&
      now < this.#busyUntil &&
      board.keepsOnCard &&
      this.#parts.story.sensors.portionEvents
    ) {
      board.record("portion", now, { cause: this.#underWay.cause, cutShort: true });
    }
    this.#underWay = null;
  }

  give(cause: Cause, now: number, paysFor: number | null = null): void {
    const { board, weather, hopper, power, mechanism, drive, tally, malfunction, flock } = this.#parts;
    if (!board.isOn || now < this.#busyUntil) return;
    const sky = weather.to(now);
    const couldGive = hopper.givable > 0 && !tally.hopperIsOff && !this.#isStopped();
    const run = tally.hopperIsOff
      ? { grams: 0, pieces: 0, counts: [], load: malfunction.kind === "trayJammed" ? 1.8 : 0.85 }
      : mechanism.run(now, sky, power.ratio);
    const turn = drive.turn(now, sky, run, power.ratio);
    tally.ran(now, run, couldGive);
    if (cause !== "keeper") flock.learn(run.pieces > 0);
    this.#given += 1;
    const ends = now + turn.ms + this.#stream.whole(5, 60);
    this.#busyUntil = ends + (cause === "keeper" ? 0 : this.#rules.pauseAfter);
    const seen = this.#parts.beam.count(now, run);
    const under = { boot: board.boot, cause };
    this.#underWay = under;
    this.#parts.agenda.add(ends, (at) => {
      if (this.#underWay !== under || board.boot !== under.boot) return;
      this.#underWay = null;
      board.counts.chute += seen;
      if (this.#parts.story.sensors.portionEvents)
        this.#record(this.#sends.stampsStart ? now : at, cause, { turn, seen, paysFor });
    });
  }

  /** Nothing can come, food or not. */
  #isStopped(): boolean {
    const { kind } = this.#parts.malfunction;
    return (
      kind === "trayJammed" ||
      kind === "motorStalled" ||
      kind === "motorWireOff" ||
      (kind === "foodBridged" && this.#parts.hopper.freedom < 0.1)
    );
  }

  #record(at: number, cause: Cause, made: { turn: Turn; seen: number; paysFor: number | null }): void {
    const { board, power, story } = this.#parts;
    const { turn, seen, paysFor } = made;
    const lowestVolts = power.lowestVolts(turn.trueMilliamps);
    board.record("portion", at, {
      cause,
      ...(paysFor !== null && this.#sends.paysFor && { paysFor }),
      ...(this.#sends.motorMs && { motorMs: turn.ms }),
      ...(story.sensors.motorCurrent && { meanMilliamps: turn.meanMilliamps, peakMilliamps: turn.peakMilliamps }),
      ...(story.sensors.chute && { chuteCount: seen }),
      ...(lowestVolts !== undefined && { lowestVolts }),
    });
  }

  #lands(now: number): void {
    const { story, board, malfunction } = this.#parts;
    if (!story.sensors.perch || malfunction.kind === "perchDead" || !board.isOn) return;
    if (this.#stream.chance(this.#senses.perchMissed)) return;
    board.counts.perch += 1;
    board.record("visit", now, {});
  }

  #pressed(now: number): void {
    if (this.#stream.chance(this.#senses.pressMissed)) {
      this.#parts.flock.learn(false);
      return;
    }
    this.#registerPress(now);
    if (this.#stream.chance(this.#senses.pressTwice)) {
      this.#parts.agenda.add(now + this.#stream.uniform(40, 250), (then) => this.#registerPress(then));
    }
  }

  #registerPress(now: number): void {
    const { story, board, malfunction, flock } = this.#parts;
    if (!story.sensors.button || malfunction.kind === "buttonDead" || !board.isOn) {
      if (this.#rules.pressPays > 0) flock.learn(false);
      return;
    }
    board.counts.button += 1;
    const seq = board.record("press", now, {});
    this.#pay("press", now, seq, this.#rules.pressPays);
  }

  #dropped(now: number, isCap: boolean): void {
    const { story, board, malfunction } = this.#parts;
    if (!story.sensors.detector || !board.isOn) return;
    const senses = this.#senses;
    const stream = this.#stream;
    const isDeaf = malfunction.kind === "detectorDeaf";
    const metal = !isDeaf && stream.chance(isCap ? 1 - senses.capMissed : senses.otherAsMetal);
    if (!metal && !senses.slotBeam) return;
    const strength = senses.capSignal * Math.exp(this.#capDrift.to(now)) * stream.factor(0.15);
    const signal = Math.min(1, metal ? Math.max(0.15, strength) : Math.abs(0.03 * stream.normal()));
    if (metal) board.counts.detector += 1;
    const beam = senses.slotBeam ? { chute: stream.chance(0.97) || !metal } : {};
    const seq = board.record("deposit", now, { metal, signal: Math.round(signal * 1_000) / 1_000, ...beam });
    if (metal && malfunction.kind !== "paysNoMore") this.#pay("deposit", now, seq, this.#rules.depositPays);
  }

  #pay(cause: "press" | "deposit", now: number, paysFor: number | null, share: number): void {
    const { agenda, weather } = this.#parts;
    const mayPay = this.#given < this.#rules.dailyMax && (this.#rules.paysAtNight || weather.to(now).sun > -0.1);
    if (!mayPay || now < this.#busyUntil || !this.#stream.chance(share)) return;
    const { boot } = this.#parts.board;
    agenda.add(now + this.#rules.reaction, (then) => {
      if (this.#parts.board.boot === boot) this.give(cause, then, paysFor);
    });
  }

  #planDay(begin: number, from: number): void {
    const { agenda, weather } = this.#parts;
    const stream = this.#stream;
    this.#given = 0;
    agenda.add(begin + day, (now) => this.#planDay(now, now));
    const { rise, set } = weather.sun.rises(begin);
    const { timerPerDay } = this.#rules;
    for (let index = 0; index < timerPerDay; index += 1) {
      const at = Math.round(rise + ((set - rise) * (index + 0.3)) / timerPerDay);
      if (at > from) agenda.add(at, (now) => this.give("timer", now));
    }
    const nights = stream.poisson(this.#senses.nightPerches);
    for (let index = 0; index < nights; index += 1)
      agenda.add(from + stream.uniform(0, day), (now) => this.#lands(now));
    const strays = stream.poisson(this.#senses.strayPresses);
    for (let index = 0; index < strays; index += 1)
      agenda.add(from + stream.uniform(0, day), (now) => this.#registerPress(now));
  }
}
