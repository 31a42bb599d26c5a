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
 * One practice feeder in its yard: birds come, press and trade, the keeper refills, the feeder does its duties. Everything
 * happens in the order of its time, and time is handed in: 36 hours take as long as they take to compute.
 */
export class Scene {
  readonly #chance: RandomSource;
  readonly #narrate: (words: string) => void;
  #world: World;
  #feeder: Feeder;
  #rhythm: VisitPattern;
  #day: SimulatedDay = noSimulatedDay;
  #visit: BirdVisit;
  #arrived = false;
  #actsDone = 0;
  #soundTurns = 0; // portions that were promised before the fault came, and are still given as ever
  #freeFoodAt: Instant;
  #at: Instant;

  constructor(start: SceneStart) {
    this.#chance = start.chance;
    this.#narrate = start.narrate;
    this.#world = newWorld(start.settings, start.seed, start.hopperGrams, start.startsAt);
    this.#feeder = this.#booted(start.memory, start.boot, start.startsAt);
    this.#rhythm = start.visitPattern;
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

  /** Lets everything happen that is due until then. */
  advance(to: Instant): void {
    // A computer that slept wakes to the present: birds that would have come meanwhile did not.
    if (this.#rhythm !== "daylight" && to - this.dueAt() > sleepMin) this.#skipTo(to);
    while (this.dueAt() <= to) this.#happen(this.dueAt());
    this.#pass(to);
    this.#feeder.tick(to);
  }

  #happen(at: Instant): void {
    this.#pass(at);
    this.#feeder.tick(at);
    if (this.#visitDueAt() <= at) this.#birdMoves(at);
    if (this.#freeFoodAt <= at) {
      // A daylight plan gives nothing at night; the lively one has no night.
      if (this.#rhythm !== "daylight" || isCivilDaylight(practiceYard.place, at)) this.#feeder.freeFoodDue(at);
      this.#freeFoodAt = this.#nextFreeFood(at);
    }
    if (this.#keeperComes(at)) this.refill(at);
  }

  #pass(at: Instant): void {
    this.#at = Math.max(at, this.#at) as Instant;
    this.#world = advanceWorld(this.#world, this.#at, this.#chance);
  }

  #skipTo(at: Instant): void {
    this.#visit = this.#nextVisit(at);
    this.#freeFoodAt = this.#nextFreeFood(at);
  }

  // --- birds -----------------------------------------------------------------------------------------------------------

  #visitDueAt(): Instant {
    if (!this.#arrived) return this.#visit.arrivesAt;
    return this.#visit.actions[this.#actsDone]?.at ?? this.#visit.leavesAt;
  }

  #birdMoves(at: Instant): void {
    if (!this.#arrived) {
      this.#arrived = true;
      this.#world = { ...this.#world, perchedUntil: this.#visit.leavesAt };
      this.#feeder.perchPressed(at);
      return;
    }
    const act = this.#visit.actions[this.#actsDone];
    if (act) {
      this.#actsDone++;
      this.#birdActs(act.kind, at);
    } else {
      this.#world = { ...this.#world, perchedUntil: null };
      this.#visit = this.#nextVisit(at);
    }
  }

  #birdActs(act: BirdAction["kind"], at: Instant): void {
    switch (act) {
      case "press":
        if (isButtonWorking(this.#world)) this.#feeder.buttonPressed(at);
        this.#narrate(
          isButtonWorking(this.#world) ? "A bird presses the button." : "A bird presses the button: nothing happens.",
        );
        return;
      case "deposit": {
        const signal = readDetector(this.#world, this.#chance);
        if (signal !== null) this.#feeder.capDetected(signal, at);
        this.#narrate(signal === null ? "A bird drops a cap: nobody notices." : "A bird drops a cap into the slot.");
        return;
      }
    }
  }

  #nextVisit(from: Instant): BirdVisit {
    this.#arrived = false;
    this.#actsDone = 0;
    const next = nextVisit(from, this.#day, this.#rhythm, this.#world.seed, this.#chance);
    this.#day = next.day;
    return next.visit;
  }

  /** A variable schedule: birds can't learn when free food comes. */
  #nextFreeFood(from: Instant): Instant {
    const mean = this.#rhythm === "daylight" || this.#rhythm === "calm" ? minutes(45) : minutes(10);
    return after(from, (mean / 4 + this.#chance.exponential((mean * 3) / 4)) as Span);
  }

  /** From here on the birds come at another pace. */
  setRhythm(rhythm: VisitPattern, at: Instant): void {
    if (rhythm === this.#rhythm) return;
    this.#rhythm = rhythm;
    this.#day = noSimulatedDay;
    this.#world = { ...this.#world, perchedUntil: null };
    this.#skipTo(at);
    // The plan's free food is due just now: presses after it are part of the same meal, which nobody owes.
    if (rhythm === "drumming") this.#freeFoodAt = at;
  }

  // --- keeper and mishap -----------------------------------------------------------------------------------------------

  /** The practice keeper keeps the hopper well filled, in daylight, unless the chosen fault is that it is empty. */
  #keeperComes(at: Instant): boolean {
    const { fault, settings } = this.#world;
    // Not while the flock is at it: a refill settles what was open about falling food, and the fault shall show first.
    if (fault === "hopperEmpty" || this.#isCrowded || foodGrams(this.#world) > 0.93 * settings.hopperCapacityGrams)
      return false;
    return this.#rhythm !== "daylight" || isCivilDaylight(practiceYard.place, at);
  }

  get #isCrowded(): boolean {
    return this.#rhythm === "flock" || this.#rhythm === "drumming";
  }

  refill(at: Instant): void {
    const { world, addedGrams } = refillWorld(this.#world);
    this.#feeder.lidMoved(true, at);
    this.#world = world;
    this.#feeder.refillTold(addedGrams, at);
    this.#feeder.lidMoved(false, at);
    this.#narrate(`The keeper fills the hopper: ${addedGrams} g.`);
  }

  fail(fault: PracticeFault, at: Instant): void {
    const wasEmpty = this.#world.fault === "hopperEmpty";
    this.#soundTurns = this.#feeder.portionsToGive;
    this.#world = withFault(this.#world, fault);
    if (wasEmpty && fault !== "hopperEmpty") this.refill(at);
  }

  #worldOfTurn(): World {
    return this.#soundTurns > 0 ? { ...this.#world, fault: "none" } : this.#world;
  }

  /** The power goes and comes back: the same disk, a new boot. */
  reboot(boot: string, at: Instant): void {
    this.#feeder = this.#booted(this.#feeder.memory(), boot, at);
  }

  #booted(memory: FeederMemory, boot: string, at: Instant): Feeder {
    const { sensors } = this.#world.settings;
    return new Feeder(
      {
        fitted: sensors,
        isPerched: () => isPerched(this.#world),
        weigh: () => weigh(this.#world, this.#chance),
        runningMilliamps: () => runningMilliamps(this.#worldOfTurn(), this.#chance),
        runMotor: (ranFor) => {
          const { world, result } = runMotor(this.#worldOfTurn(), ranFor, this.#chance);
          this.#world = { ...world, fault: this.#world.fault };
          this.#soundTurns = Math.max(0, this.#soundTurns - 1);
          this.#narrate(
            result.fellGrams > 0
              ? `${result.fellGrams.toFixed(2)} g of food falls.`
              : "The motor is on, and no food falls.",
          );
          return result;
        },
        read: () => readSensors(this.#world, this.#chance),
      },
      memory,
      boot,
      at,
    );
  }

  // --- what goes out and comes back ------------------------------------------------------------------------------------

  report(at: Instant, most?: number): ReportInput {
    return this.#feeder.report(at, most);
  }

  answered(boot: string, answer: Answer, at: Instant): void {
    const deaf = this.#world.fault === "ignoresOrders";
    const wasPaused = this.#feeder.paused;
    this.#feeder.answered(boot, deaf ? { ...answer, orders: [] } : answer, at);
    if (deaf && answer.orders.length > 0) this.#narrate("An order arrives, and the feeder is deaf to it.");
    if (wasPaused !== this.#feeder.paused)
      this.#narrate(wasPaused ? "The feeder feeds again." : "The feeder is paused.");
  }
}

export interface SceneStart {
  readonly settings: PracticeSettings;
  readonly seed: number;
  readonly chance: RandomSource;
  readonly hopperGrams: number;
  readonly memory: FeederMemory;
  readonly boot: string;
  readonly visitPattern: VisitPattern;
  readonly startsAt: Instant;
  readonly narrate: (words: string) => void;
}

/** What should have happened is longer ago than this: the computer was asleep. */
const sleepMin = minutes(2);
