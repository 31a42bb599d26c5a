import { BirdToday } from "./birdToday.ts";
import type { DayOutcome, DayPlan, Trial } from "./dayPlan.ts";
import type { Feeder } from "./feeder.ts";
import { drawHappenings, type Happening } from "./happenings.ts";
import type { StageKind } from "./livedDay.ts";
import type { Random } from "./random.ts";
import { comingInWeather, hour, weatherAt } from "./weather.ts";

const minute = 60_000;
const step = 4 * minute;
const betweenBouts = 2 * minute;
const answerWindow = 30 * minute;
const meanAnswer = 5 * minute;
const longestBout = 15 * minute;
/** From act to act, compared with presses: a cap must be picked up, carried, found. */
const paceFactor: Readonly<Record<StageKind, number>> = {
  comeForFood: 1,
  pressForFood: 1,
  nudgeCap: 2,
  dropCap: 5,
  fetchCap: 20,
};

/**
 * Goal: a day at the feeder as its sensors see it, with the probability of each thing noted just before it happens:
 * what happened less that probability is noise of mean 0 (a martingale), so the truth is exact however birds, hunger
 * and weather move. Method: bouts begin at random at a rate that is looked at every four minutes; one bird leads,
 * others join; each acts or not, in runs. What is learnt shows on the next day.
 */
export class DayRun {
  private readonly plan: DayPlan;
  private readonly feeder: Feeder;
  private readonly random: Random;
  private readonly today: readonly BirdToday[];
  private readonly happenings: Happening[];
  private readonly bouts: Trial[] = [];
  private readonly portions: Trial[] = [];
  private answer: { readonly at: number; readonly leader: BirdToday } | null = null;
  private capsLeft: number;
  private expectedBouts = 0;
  private boutCount = 0;
  private boutUntil = 0;
  private shyUntil = 0;
  private openPortions: { readonly at: number; readonly expected: number }[] = [];

  constructor(plan: DayPlan, feeder: Feeder, random: Random) {
    this.plan = plan;
    this.feeder = feeder;
    this.random = random;
    this.today = plan.birds.map((bird) => new BirdToday(bird));
    this.happenings = drawHappenings(plan, random);
    const { stage, capsLaid } = plan.conditions;
    this.capsLeft = Math.round(capsLaid) + (stage === "fetchCap" ? random.poisson(plan.traits.litterDaily) : 0);
  }

  run(): DayOutcome {
    const { from, to } = this.plan.light;
    const shareAtBegin = this.shareAtBegin();
    for (let at = from; at < to; at += step) {
      this.happenUntil(at);
      if (at < Math.max(this.boutUntil, this.shyUntil)) continue;
      const answer = this.takeAnswer(at + step);
      if (answer !== null) {
        this.liveBout(Math.max(at, answer.at), answer.leader);
        continue;
      }
      const begins = 1 - Math.exp(-this.rate(at) * (step / hour));
      this.expectedBouts += begins;
      if (this.random.chance(begins)) this.liveBout(at + this.random.unit() * step, null);
    }
    this.happenUntil(Number.POSITIVE_INFINITY);
    this.closePortions(Number.POSITIVE_INFINITY, false);
    return {
      birds: this.today,
      bouts: this.bouts,
      portions: this.portions,
      boutCount: this.boutCount,
      expectedBouts: this.expectedBouts,
      shareAtBegin,
    };
  }

  // --- how many come -------------------------------------------------------------------------------------------------

  /** Bouts that begin in an hour, without those that answer a portion. */
  private rate(at: number): number {
    return this.rates(at).reduce((sum, rate) => sum + rate, 0);
  }

  private rates(at: number): readonly number[] {
    const { traits, light, weather, coming } = this.plan;
    const hours = (light.to - light.from) / hour;
    const daily = traits.boutsDaily * (hours / 12) ** 0.7 * coming * comingInWeather(weatherAt(weather, at));
    const now = (daily / hours) * this.hourFactor((at - light.from) / (light.to - light.from));
    return this.today.map((one) => now * one.bird.body.boutsWeight * one.bird.mind.comes() * one.hunger(at));
  }

  /** Of mean 1 over the light: most in the morning, on some sites again before dusk. */
  private hourFactor(part: number): number {
    const { morning, even, evening } = this.plan.traits.hours;
    const mean = even + morning * 0.18 * (1 - Math.exp(-1 / 0.18)) + evening * 0.12 * (1 - Math.exp(-1 / 0.12));
    return (even + morning * Math.exp(-part / 0.18) + evening * Math.exp(-(1 - part) / 0.12)) / mean;
  }

  // --- what happens beside the birds ---------------------------------------------------------------------------------

  private happenUntil(time: number): void {
    for (let next = this.happenings[0]; next !== undefined && next.at <= time; next = this.happenings[0]) {
      this.happenings.shift();
      this.happen(next);
    }
  }

  private happen({ at, kind, until }: Happening): void {
    switch (kind) {
      case "free":
        this.giveFree(at);
        return;
      case "wind":
        if (this.hasMeans()) this.useCapFor(() => this.feeder.act(at));
        return;
      case "leaf":
        this.feeder.reject(at);
        return;
      case "keeper":
        this.feeder.openLid(at, until, this.random.chance(0.6));
        if (this.random.chance(0.2)) this.feeder.giveFree(until + minute, "keeper");
        this.shyUntil = until + this.random.between(5, 30) * minute;
    }
  }

  private giveFree(at: number): void {
    const fellAt = this.feeder.giveFree(at);
    if (fellAt === null) return;
    if (at < this.boutUntil) {
      // They stand beside it.
      this.portions.push({ at, expected: 1, happened: true });
      this.feeder.visit(fellAt + this.random.between(3, 40) * 1_000);
      return;
    }
    const { from, to } = this.plan.light;
    const window = Math.max(0, Math.min(at + answerWindow, to) - Math.max(at, this.boutUntil, this.shyUntil, from));
    const chances = this.today.map((one) => (at < this.shyUntil ? 0 : this.answers(one, at)));
    // A portion that falls soon after this one brings birds to both.
    const until = Math.max(at, this.boutUntil, this.shyUntil, from) + window;
    const soon = this.happenings
      .filter((next) => next.kind === "free" && next.at < until)
      .map((next) => until - next.at);
    const noneOf = (span: number) =>
      chances.reduce((none, chance) => none * (1 - chance * (1 - Math.exp(-span / meanAnswer))), 1);
    const noAnswer = noneOf(window);
    const noneSoon = soon.reduce((none, span) => none * noneOf(span), noAnswer);
    const isDue = this.answer !== null && this.answer.at < at + window;
    const expected = isDue ? 1 : 1 - Math.exp(-this.rate(at) * (window / hour)) * noneSoon;
    this.openPortions.push({ at, expected });
    this.expectedBouts += isDue ? 0 : 1 - noAnswer;
    this.drawAnswer(at, window, chances);
  }

  private answers(one: BirdToday, at: number): number {
    const { body, mind } = one.bird;
    return Math.min(1, body.hears * mind.notices() * one.hunger(at)) * Math.min(1, this.weatherNow(at));
  }

  private drawAnswer(at: number, window: number, chances: readonly number[]): void {
    for (const [index, one] of this.today.entries()) {
      const delay = this.random.exponential(meanAnswer);
      if (!this.random.chance(chances[index] ?? 0) || delay > window) continue;
      if (this.answer === null || at + delay < this.answer.at) this.answer = { at: at + delay, leader: one };
    }
  }

  private takeAnswer(before: number) {
    const { answer } = this;
    if (answer === null || answer.at >= before) return null;
    this.answer = null;
    return answer;
  }

  private closePortions(at: number, isVisited: boolean): void {
    for (const portion of this.openPortions) {
      this.portions.push({ ...portion, happened: isVisited && at <= portion.at + answerWindow });
    }
    this.openPortions = [];
  }

  private weatherNow = (at: number): number => comingInWeather(weatherAt(this.plan.weather, at));

  // --- a bout --------------------------------------------------------------------------------------------------------

  private liveBout(at: number, answering: BirdToday | null): void {
    this.happenUntil(at);
    if (at < this.shyUntil) return;
    const rates = this.rates(at);
    const odds = this.odds(at);
    const hadMeans = this.hasMeans();
    const leads = answering === null ? rates : this.today.map((one) => (one === answering ? 1 : 0));
    const expected = this.expectedShare(at, odds, leads);
    const leader = answering ?? this.today[this.random.weighted(rates)];
    if (leader === undefined) throw new RangeError("expected a bird to lead the bout, got none");
    const others = this.today.filter((one) => one !== leader && this.random.chance(this.joins(one, at)));
    const here = [leader, ...others];
    this.boutUntil = at + this.random.logBetween(0.4, 8) * minute;
    this.closePortions(at, true);
    const fed = this.eatFreeFood(here, at);
    const acted = this.liveRuns(at, here, odds, fed);
    for (const one of here) {
      one.bouts += 1;
      if (fed.has(one)) one.boutsFed += 1;
    }
    this.boutUntil += betweenBouts;
    this.boutCount += 1;
    if (hadMeans) this.bouts.push({ at, expected, happened: acted });
  }

  private joins = (one: BirdToday, at: number): number =>
    Math.min(1, one.bird.body.joins * one.bird.mind.comes() * (0.4 + 0.6 * one.hunger(at)));

  private odds(at: number): readonly number[] {
    const { conditions, traits } = this.plan;
    const distance = conditions.distanceCm ?? traits.unmeasuredCm[conditions.stage];
    const seesFood = this.feeder.dishGrams >= 0.5 * conditions.gramsEach;
    if (conditions.stage === "comeForFood") return this.today.map(() => 0);
    return this.today.map((one) => one.actProbability(conditions.stage, distance, at, seesFood));
  }

  /** The probability that a bout now holds an act: over who leads it, and who joins. */
  private expectedShare(at: number, odds: readonly number[], leads: readonly number[]): number {
    const sum = leads.reduce((total, weight) => total + weight, 0);
    if (sum <= 0) return 0;
    const joining = this.today.map((one, index) => 1 - this.joins(one, at) * (odds[index] ?? 0));
    const none = leads.reduce((total, weight, leader) => {
      const others = joining.reduce((product, factor, index) => (index === leader ? product : product * factor), 1);
      return total + (weight / sum) * (1 - (odds[leader] ?? 0)) * others;
    }, 0);
    return Math.max(0, 1 - none * (1 - this.plan.chanceShare));
  }

  private eatFreeFood(here: readonly BirdToday[], at: number): Set<BirdToday> {
    const fed = new Set<BirdToday>();
    for (const [index, one] of here.entries()) {
      const landedAt = at + (index === 0 ? 0 : this.random.between(2, 90) * 1_000);
      for (let more = this.random.poisson(0.8); more >= 0; more -= 1) {
        this.feeder.visit(landedAt + more * this.random.between(8, 60) * 1_000);
      }
      if (this.feed(one, landedAt)) fed.add(one);
      if (this.random.chance(this.plan.traits.rejectedPerBout)) this.feeder.reject(landedAt + 5_000);
      this.pressInVain(one, landedAt);
    }
    return fed;
  }

  private feed(one: BirdToday, at: number): boolean {
    const taken = one.eat(this.feeder.dishGrams, at);
    this.feeder.dishGrams -= taken;
    return taken > 0.05;
  }

  private pressInVain(one: BirdToday, at: number): void {
    const { stage } = this.plan.conditions;
    if (stage === "comeForFood" || stage === "pressForFood") return;
    if (!this.random.chance(this.plan.vainPress * one.bird.mind.acts("pressForFood"))) return;
    for (let more = this.random.geometric(1); more >= 0; more -= 1) {
      this.feeder.pressInVain(at + (3 + 4 * more * this.random.unit()) * 1_000);
    }
  }

  // --- runs of acts --------------------------------------------------------------------------------------------------

  /** @returns whether an act happened, heard by the feeder or not */
  private liveRuns(from: number, here: readonly BirdToday[], odds: readonly number[], fed: Set<BirdToday>): boolean {
    const runs = here
      .filter((one) => this.random.chance(odds[this.today.indexOf(one)] ?? 0))
      .map((one) => this.startRun(one, from));
    const [leader] = here;
    if (leader !== undefined && this.random.chance(this.plan.chanceShare)) {
      runs.push({ one: leader, at: from + this.random.between(3, 60) * 1_000, left: 1, isFirst: true });
    }
    let acted = false;
    while (runs.length > 0 && this.hasMeans()) {
      const next = runs.reduce((soonest, run) => (run.at < soonest.at ? run : soonest));
      if (next.at > from + longestBout || this.shyUntil > next.at) break;
      acted = true;
      this.boutUntil = Math.max(this.boutUntil, next.at);
      const ended = this.doAct(next, here, fed);
      if (ended) runs.splice(runs.indexOf(next), 1);
    }
    return acted;
  }

  private startRun(one: BirdToday, from: number): Run {
    const left = 1 + this.random.geometric(one.bird.body.furtherActs * one.hunger(from));
    return { one, at: from + this.random.between(4, 60) * 1_000, left, isFirst: true };
  }

  /** @returns whether the run has ended */
  private doAct(run: Run, here: readonly BirdToday[], fed: Set<BirdToday>): boolean {
    const { conditions, traits } = this.plan;
    this.happenUntil(run.at);
    const fellAt = this.useCapFor(() => this.feeder.act(run.at));
    const eater = fellAt === null ? null : this.eater(run.one, here);
    if (eater !== null && fellAt !== null && this.feed(eater, fellAt)) fed.add(eater);
    const walk = Math.min(20, (conditions.distanceCm ?? traits.unmeasuredCm[conditions.stage]) / 40);
    const paid = eater === run.one;
    const delaySeconds = paid && fellAt !== null ? (fellAt - run.at) / 1_000 + walk : 0;
    run.one.acts.push({ paid, delaySeconds, isFirst: run.isFirst });
    if (fellAt !== null) for (const other of here) if (other !== run.one) other.paidActsSeen += 1;
    run.left -= 1;
    run.isFirst = false;
    const pace = run.one.bird.body.paceSeconds * paceFactor[conditions.stage] * this.random.logBetween(0.5, 2) * 1_000;
    // Most wait for their food, some press on.
    run.at = fellAt !== null && this.random.chance(0.7) ? Math.max(run.at + pace, fellAt + 1_500) : run.at + pace;
    const givesUp = fellAt === null && this.random.chance(conditions.paysEvery > 1 ? 0.15 : 0.4);
    return run.left <= 0 || givesUp;
  }

  private eater(actor: BirdToday, here: readonly BirdToday[]): BirdToday {
    const thief = here.find(
      (one) => one.bird.body.rank > actor.bird.body.rank && this.random.chance(this.plan.traits.theft / here.length),
    );
    return thief ?? actor;
  }

  // --- the means -----------------------------------------------------------------------------------------------------

  private get needsCap(): boolean {
    const { stage } = this.plan.conditions;
    return stage !== "comeForFood" && stage !== "pressForFood";
  }

  private hasMeans = (): boolean =>
    this.plan.conditions.stage !== "comeForFood" && (!this.needsCap || this.capsLeft > 0);

  private useCapFor(act: () => number | null): number | null {
    if (this.needsCap) this.capsLeft -= 1;
    return act();
  }

  private shareAtBegin(): number {
    const { from, to } = this.plan.light;
    if (this.plan.conditions.stage !== "comeForFood")
      return this.expectedShare(from, this.odds(from), this.rates(from));
    const middle = (from + to) / 2;
    const noAnswer = this.today.reduce((none, one) => none * (1 - this.answers(one, middle)), 1);
    return 1 - Math.exp(-this.rate(middle) * (answerWindow / hour)) * noAnswer;
  }
}

interface Run {
  readonly one: BirdToday;
  at: number;
  left: number;
  isFirst: boolean;
}
