import type { PracticeFault } from "../contract/api.ts";
import type { Answer } from "../contract/report.ts";
import { after, type Instant, minutes, type Span } from "../domain/instant.ts";
import {
  type BirdAction,
  type BirdVisit,
  nextVisit,
  noSimulatedDay,
  type SimulatedDay,
  type VisitPattern,
} from "./birds.ts";
import { Feeder, type FeederMemory, type ReportInput } from "./feeder.ts";
import { isCivilDaylight } from "./model/light.ts";
import type { RandomSource } from "./random.ts";
import {
  advanceWorld,
  foodGrams,
  isButtonWorking,
  isPerched,
  newWorld,
  readDetector,
  readSensors,
  refillWorld,
  runMotor,
  runningMilliamps,
  type World,
  weigh,
  withFault,
} from "./world.ts";
import { type PracticeSettings, practiceYard } from "./yard.ts";

/**
 * One practice feeder in its yard: birds come, press and trade, the keeper refills, the feeder's program runs. All happens in
 * time order, and time is passed in: 36 hours take only the time to compute them.
 */
export class Scene {
  readonly #random: RandomSource;
  readonly #narrate: (text: string) => void;
  #world: World;
  #feeder: Feeder;
  #visitPattern: VisitPattern;
  #day: SimulatedDay = noSimulatedDay;
  #visit: BirdVisit;
  #isBirdThere = false;
  #actionsDone = 0;
  #portionsBeforeFault = 0; // portions that were due before the fault came, and are still given as usual
  #freeFoodAt: Instant;
  #at: Instant;

  constructor(start: SceneStart) {
    this.#random = start.random;
    this.#narrate = start.narrate;
    this.#world = newWorld(start.settings, start.seed, start.hopperGrams, start.startsAt);
    this.#feeder = this.#startFeeder(start.memory, start.boot, start.startsAt);
    this.#visitPattern = start.visitPattern;
    this.#at = start.startsAt;
    this.#visit = this.#nextVisit(start.startsAt);
    this.#freeFoodAt = this.#nextFreeFood(start.startsAt);
  }

  get world(): World {
    return this.#world;
  }

  get feeder(): Feeder {
    return this.#feeder;
  }

  // --- time ------------------------------------------------------------------------------------------------------------

  dueAt(): Instant {
    const feeder = this.#feeder.dueAt();
    const visit = this.#visitDueAt();
    return Math.min(visit, this.#freeFoodAt, feeder ?? visit) as Instant;
  }

  /** Simulates everything that is due until then. */
  advance(to: Instant): void {
    // After the computer was asleep, the birds that would have come meanwhile are left out.
    if (this.#visitPattern !== "daylight" && to - this.dueAt() > sleepMin) this.#skipTo(to);
    while (this.dueAt() <= to) this.#doNext(this.dueAt());
    this.#pass(to);
    this.#feeder.tick(to);
  }

  #doNext(at: Instant): void {
    this.#pass(at);
    this.#feeder.tick(at);
    if (this.#visitDueAt() <= at) this.#birdMoves(at);
    if (this.#freeFoodAt <= at) {
      // A daylight plan gives nothing at night; the lively one has no night.
      if (this.#visitPattern !== "daylight" || isCivilDaylight(practiceYard.place, at)) this.#feeder.giveFreeFood(at);
      this.#freeFoodAt = this.#nextFreeFood(at);
    }
    if (this.#keeperRefills(at)) this.refill(at);
  }

  #pass(at: Instant): void {
    this.#at = Math.max(at, this.#at) as Instant;
    this.#world = advanceWorld(this.#world, this.#at, this.#random);
  }

  #skipTo(at: Instant): void {
    this.#visit = this.#nextVisit(at);
    this.#freeFoodAt = this.#nextFreeFood(at);
  }

  // --- birds -----------------------------------------------------------------------------------------------------------

  #visitDueAt(): Instant {
    if (!this.#isBirdThere) return this.#visit.arrivesAt;
    return this.#visit.actions[this.#actionsDone]?.at ?? this.#visit.leavesAt;
  }

  #birdMoves(at: Instant): void {
    if (!this.#isBirdThere) {
      this.#isBirdThere = true;
      this.#world = { ...this.#world, perchedUntil: this.#visit.leavesAt };
      this.#feeder.pressPerch(at);
      return;
    }
    const action = this.#visit.actions[this.#actionsDone];
    if (action) {
      this.#actionsDone++;
      this.#doBirdAction(action.kind, at);
    } else {
      this.#world = { ...this.#world, perchedUntil: null };
      this.#visit = this.#nextVisit(at);
    }
  }

  #doBirdAction(action: BirdAction["kind"], at: Instant): void {
    switch (action) {
      case "press":
        if (isButtonWorking(this.#world)) this.#feeder.pressButton(at);
        this.#narrate(
          isButtonWorking(this.#world) ? "A bird presses the button." : "A bird presses the button: nothing happens.",
        );
        return;
      case "deposit": {
        const signal = readDetector(this.#world, this.#random);
        if (signal !== null) this.#feeder.detectCap(signal, at);
        this.#narrate(
          signal === null ? "A bird drops a cap: the detector misses it." : "A bird drops a cap into the slot.",
        );
        return;
      }
    }
  }

  #nextVisit(from: Instant): BirdVisit {
    this.#isBirdThere = false;
    this.#actionsDone = 0;
    const next = nextVisit(from, this.#day, this.#visitPattern, this.#world.seed, this.#random);
    this.#day = next.day;
    return next.visit;
  }

  /** A variable schedule: birds can't learn when free food comes. */
  #nextFreeFood(from: Instant): Instant {
    const mean = this.#visitPattern === "daylight" || this.#visitPattern === "calm" ? minutes(45) : minutes(10);
    return after(from, (mean / 4 + this.#random.exponential((mean * 3) / 4)) as Span);
  }

  /** From here on the birds come in another pattern. */
  setVisitPattern(visitPattern: VisitPattern, at: Instant): void {
    if (visitPattern === this.#visitPattern) return;
    this.#visitPattern = visitPattern;
    this.#day = noSimulatedDay;
    this.#world = { ...this.#world, perchedUntil: null };
    this.#skipTo(at);
    // The plan's free food is due now: presses after it are part of the same meal and need no portion.
    if (visitPattern === "drumming") this.#freeFoodAt = at;
  }

  // --- keeper and fault ------------------------------------------------------------------------------------------------

  /** The practice keeper keeps the hopper well filled, in daylight, unless the chosen fault is that it is empty. */
  #keeperRefills(at: Instant): boolean {
    const { fault, settings } = this.#world;
    // Not while the flock is there: a refill ends the search for a feed fault, and the fault is to show first.
    if (fault === "hopperEmpty" || this.#isCrowded || foodGrams(this.#world) > 0.93 * settings.hopperCapacityGrams)
      return false;
    return this.#visitPattern !== "daylight" || isCivilDaylight(practiceYard.place, at);
  }

  get #isCrowded(): boolean {
    return this.#visitPattern === "flock" || this.#visitPattern === "drumming";
  }

  refill(at: Instant): void {
    const { world, addedGrams } = refillWorld(this.#world);
    this.#feeder.moveLid(true, at);
    this.#world = world;
    this.#feeder.reportRefill(addedGrams, at);
    this.#feeder.moveLid(false, at);
    this.#narrate(`The keeper fills the hopper: ${addedGrams} g.`);
  }

  setFault(fault: PracticeFault, at: Instant): void {
    const wasEmpty = this.#world.fault === "hopperEmpty";
    this.#portionsBeforeFault = this.#feeder.pendingPortions;
    this.#world = withFault(this.#world, fault);
    if (wasEmpty && fault !== "hopperEmpty") this.refill(at);
  }

  #worldOfPortion(): World {
    return this.#portionsBeforeFault > 0 ? { ...this.#world, fault: "none" } : this.#world;
  }

  /** The power goes and comes back: the same disk, a new boot. */
  reboot(boot: string, at: Instant): void {
    this.#feeder = this.#startFeeder(this.#feeder.memory(), boot, at);
  }

  #startFeeder(memory: FeederMemory, boot: string, at: Instant): Feeder {
    const { sensors } = this.#world.settings;
    return new Feeder(
      {
        fitted: sensors,
        isPerched: () => isPerched(this.#world),
        weigh: () => weigh(this.#world, this.#random),
        runningMilliamps: () => runningMilliamps(this.#worldOfPortion(), this.#random),
        runMotor: (ranFor) => {
          const { world, result } = runMotor(this.#worldOfPortion(), ranFor, this.#random);
          this.#world = { ...world, fault: this.#world.fault };
          this.#portionsBeforeFault = Math.max(0, this.#portionsBeforeFault - 1);
          this.#narrate(
            result.fellGrams > 0
              ? `${result.fellGrams.toFixed(2)} g of food falls.`
              : "The motor is on, and no food falls.",
          );
          return result;
        },
        read: () => readSensors(this.#world, this.#random),
      },
      memory,
      boot,
      at,
    );
  }

  // --- reports and answers ---------------------------------------------------------------------------------------------

  report(at: Instant, most?: number): ReportInput {
    return this.#feeder.report(at, most);
  }

  handleAnswer(boot: string, answer: Answer, at: Instant): void {
    const ignoresOrders = this.#world.fault === "ignoresOrders";
    const wasPaused = this.#feeder.isPaused;
    this.#feeder.handleAnswer(boot, ignoresOrders ? { ...answer, orders: [] } : answer, at);
    if (ignoresOrders && answer.orders.length > 0) this.#narrate("An order arrives, and the feeder ignores it.");
    if (wasPaused !== this.#feeder.isPaused)
      this.#narrate(wasPaused ? "The feeder feeds again." : "The feeder is paused.");
  }
}

export interface SceneStart {
  readonly settings: PracticeSettings;
  readonly seed: number;
  readonly random: RandomSource;
  readonly hopperGrams: number;
  readonly memory: FeederMemory;
  readonly boot: string;
  readonly visitPattern: VisitPattern;
  readonly startsAt: Instant;
  readonly narrate: (text: string) => void;
}

/** What should have happened is longer ago than this: the computer was asleep. */
const sleepMin = minutes(2);
