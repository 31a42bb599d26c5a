import { day, hour, minute, second } from "./agenda.ts";
import type { Chance } from "./chance.ts";
import { type Dispensed, Dispensing } from "./dispensing.ts";
import type { Touched } from "./flock.ts";
import type { Parts } from "./parts.ts";
import { lightOf, midnightBefore } from "./place.ts";
import { drawRecording, drawTouch, type Recording, type Rules, type Touch } from "./rules.ts";

type Cause = "timer" | "press" | "deposit" | "keeper";

interface Due {
  readonly cause: Cause;
  readonly paysFor: number | null;
  readonly retriesLeft: number;
}

/** The program on the board: it feels the birds, decides what is paid, runs the belt and records all of it. */
export class Program implements Touched {
  onStart: () => void = () => {};
  readonly rules: Rules;
  readonly #parts: Parts;
  readonly #chance: Chance;
  readonly #dispensing: Dispensing;
  readonly #recording: Recording;
  readonly #touch: Touch;
  #given = 0; // today
  #freeAt = 0;
  #visitAt = 0;
  #emptyRow = 0;
  #starts = 0;
  #underWay: Due | null = null;

  constructor(parts: Parts, rules: Rules) {
    this.#parts = parts;
    this.rules = rules;
    this.#chance = parts.chance("program");
    this.#dispensing = new Dispensing(parts, rules);
    this.#recording = drawRecording(parts.chance("recording"));
    this.#touch = drawTouch(parts.chance("touch"));
  }

  begin(): void {
    const { agenda, board, place } = this.#parts;
    this.#planDay(midnightBefore(agenda.now, place));
    this.#planCrash(board.untilNextCrash());
  }

  fedAt = (): number => this.#parts.account.lastFedAt;

  land(): void {
    const { story, planted, counter } = this.#parts;
    counter.step(this.#now);
    if (!story.sensors.perch || planted.is("perchDead") || !this.#chance.happens(this.#touch.perchFelt)) return;
    this.#feelPerch();
  }

  press(): void {
    const { planted, agenda } = this.#parts;
    if (planted.is("buttonDead") || !this.#chance.happens(this.#touch.pressFelt)) return;
    this.contact();
    if (this.#chance.happens(this.#touch.pressBounces)) agenda.in(this.#chance.between(30, 240), () => this.contact());
  }

  drop(isMetal: boolean): void {
    const { story, planted, board } = this.#parts;
    const touch = this.#touch;
    if (!story.sensors.detector || !board.isOn) return;
    const found = this.#chance.happens(isMetal ? touch.metalFound : touch.litterAsMetal);
    const metal = found && !planted.is("detectorDeaf");
    if (!metal && !touch.slotBeam) return;
    if (metal) board.counts.detector += 1;
    const strength = metal ? Math.max(0.1, touch.signal * this.#chance.spread(0.18)) : 0.03 * this.#chance.share();
    const isPaid = metal && this.#pays("deposit");
    const seq = board.record("deposit", this.#now, {
      metal,
      signal: Math.round(100 * Math.min(1, strength)) / 100,
      ...(touch.slotBeam && { chute: this.#chance.happens(0.98) }),
      ...(this.#recording.earns && { earns: isPaid }),
    });
    if (!isPaid || planted.is("paysNoMore")) return;
    this.#owe("deposit", seq, this.rules.depositPortions);
  }

  /** The button's contact closes, whoever closed it. */
  contact(): void {
    const { story, board, planted } = this.#parts;
    if (!story.sensors.button || !board.isOn || planted.is("buttonDead")) return;
    board.counts.button += 1;
    const isPaid = this.#pays("press");
    const seq = board.record("press", this.#now, this.#recording.earns ? { earns: isPaid } : {});
    if (isPaid) this.#owe("press", seq, this.rules.pressPortions);
  }

  giveByHand(): void {
    if (this.#parts.board.isOn && this.#underWay === null)
      this.#run({ cause: "keeper", paysFor: null, retriesLeft: 0 });
  }

  /** The board stops, and starts again after so long. */
  restart(offSpan: number): void {
    const { agenda, board } = this.#parts;
    if (!board.isOn) return;
    this.#cut();
    board.stop();
    this.#starts += 1;
    agenda.in(offSpan, () => {
      board.start(this.#now);
      this.#parts.counter.total = 0;
      [this.#freeAt, this.#emptyRow] = [0, 0];
      if (this.rules.jogs) this.#parts.account.fell(this.#now, this.#dispensing.jog());
      this.onStart();
    });
  }

  /** Only as long as the board isn't started anew. */
  later(span: number, act: () => void): void {
    const starts = this.#starts;
    this.#parts.agenda.in(span, () => {
      if (starts === this.#starts && this.#parts.board.isOn) act();
    });
  }

  /** Bursts that no bird makes, from the fault on. */
  chatter(): void {
    const { agenda, planted } = this.#parts;
    const chance = this.#chance;
    let wait = 0;
    for (let left = 1 + chance.poisson(planted.shows.burstPresses); left > 0; left -= 1) {
      agenda.in(wait, () => this.contact());
      wait += chance.factorBetween(40, 2_500);
    }
    agenda.in(wait + chance.wait(planted.shows.burstEvery), () => this.chatter());
  }

  get #now(): number {
    return this.#parts.agenda.now;
  }

  #feelPerch(): void {
    const { board } = this.#parts;
    if (!board.isOn) return;
    board.counts.perch += 1;
    if (this.#now < this.#visitAt + this.#touch.perchGap) return;
    this.#visitAt = this.#now;
    board.record("visit", this.#now);
  }

  #pays(what: "press" | "deposit"): boolean {
    const { rules } = this;
    const isDark = this.#parts.weather.at(this.#now).sun < -0.1;
    if (rules[what] === "none" || this.#given >= rules.dailyMost || (isDark && !rules.paysInTheDark)) return false;
    const rests = this.#freeAt - this.#now;
    const isBusy = rests > 0 || this.#underWay !== null;
    if (isBusy && (!rules.queues || rests > 2 * minute)) return false;
    return rules[what] === "each" || this.#chance.happens(1 / rules.oneIn);
  }

  /** Portions for one act come one after the other. */
  #owe(cause: Cause, seq: number | null, portions: number): void {
    const from = Math.max(this.#now + this.rules.reaction, this.#freeAt + 1);
    const each = 1.5 * second;
    this.#freeAt = from + portions * each;
    const due: Due = { cause, paysFor: seq, retriesLeft: this.rules.retriesApart ? this.rules.retries : 0 };
    for (let portion = 0; portion < portions; portion += 1)
      this.later(from + portion * each - this.#now, () => this.#run(due));
  }

  #run(due: Due): void {
    const { account, hands } = this.#parts;
    if (this.#underWay !== null) {
      this.later(second, () => this.#run(due)); // the one before still runs
      return;
    }
    const startedAt = this.#now;
    this.#underWay = due;
    this.#given += 1;
    const made = this.#dispensing.portion(startedAt);
    account.run(startedAt, made.heap, hands.isHopperOff);
    this.#emptyRow = made.counted > 0 ? 0 : this.#emptyRow + 1;
    this.later(made.ms, () => this.#end(due, startedAt, made));
  }

  #end(due: Due, startedAt: number, made: Dispensed): void {
    const { rules } = this;
    this.#underWay = null;
    this.#record(due, startedAt, made);
    this.#freeAt = Math.max(this.#freeAt, this.#now + (due.cause === "keeper" ? 500 : rules.rests));
    if (rules.locksAfter !== null && this.#emptyRow >= rules.locksAfter) {
      this.#emptyRow = 0;
      this.#freeAt = this.#now + rules.locksFor;
    } else if (made.counted === 0 && due.retriesLeft > 0) {
      this.later(1.5 * second, () => this.#run({ ...due, retriesLeft: due.retriesLeft - 1 }));
    }
  }

  #record({ cause, paysFor }: Due, startedAt: number, { turning, counted }: Dispensed): void {
    const { story, board, supply } = this.#parts;
    const { sensors } = story;
    const recording = this.#recording;
    if (!sensors.portionEvents) return;
    const lowestVolts = supply.lowestVolts(turning.trueMilliamps);
    const { ms, meanMilliamps, peakMilliamps, isProtected } = turning;
    board.record("portion", recording.stampsStart ? startedAt : this.#now, {
      cause,
      ...(recording.paysFor && paysFor !== null && { paysFor }),
      ...(recording.motorMs && { motorMs: ms }),
      ...(sensors.motorCurrent && { meanMilliamps, peakMilliamps }),
      ...(sensors.chute && { chuteCount: counted }),
      ...(lowestVolts !== null && { lowestVolts }),
      ...(isProtected && recording.marksCut && { cutShort: true }),
    });
    if (isProtected && recording.saysTrouble) board.record("trouble", this.#now, { words: "Motor current too high." });
  }

  /** A portion under way ends with the power; a board with a card remembers that it had begun. */
  #cut(): void {
    const { board, story } = this.#parts;
    const due = this.#underWay;
    this.#underWay = null;
    if (due !== null && board.keepsOnCard && story.sensors.portionEvents)
      board.record("portion", this.#now, { cause: due.cause, cutShort: true });
  }

  #planCrash(span: number): void {
    const { agenda, board } = this.#parts;
    agenda.in(span, () => {
      this.restart(board.offSpan());
      this.#planCrash(board.untilNextCrash());
    });
  }

  #planDay(midnight: number): void {
    const { agenda, place, story, planted } = this.#parts;
    const chance = this.#chance;
    this.#given = 0;
    agenda.at(midnight + day, () => this.#planDay(midnight + day));
    const someTime = () => midnight + chance.between(0, day);
    const plan = (at: number, act: () => void) => {
      if (at > agenda.now) agenda.at(at, act);
    };
    for (let count = chance.poisson(this.#touch.strayPresses); count > 0; count -= 1)
      plan(someTime(), () => this.contact());
    for (let count = chance.poisson(this.#touch.strayVisits); count > 0; count -= 1)
      plan(someTime(), () => {
        if (story.sensors.perch && !planted.is("perchDead")) this.#feelPerch();
      });
    const light = lightOf(midnight, place) ?? { from: midnight + 10 * hour, to: midnight + 14 * hour };
    for (let index = 0; index < this.rules.timerPortions; index += 1) {
      const share = (index + 0.4) / this.rules.timerPortions;
      plan(light.from + share * (light.to - light.from), () => this.#giveFree());
    }
  }

  #giveFree(): void {
    const { board } = this.#parts;
    if (!board.isOn || this.#now < this.#freeAt || this.#given >= this.rules.dailyMost) return;
    this.#run({ cause: "timer", paysFor: null, retriesLeft: this.rules.retriesApart ? this.rules.retries : 0 });
  }
}
