import { after, type Instant, instantOf, minutes, type Span } from "../domain/instant.ts";
import { addLocalDays, instantOfLocal, type LocalDate } from "../domain/localTime.ts";
import { hashedRandom } from "../domain/seededRandom.ts";
import { civilDayAround } from "../domain/sun.ts";
import type { TimeSpan } from "../domain/timeSpans.ts";
import type { Stage } from "../domain/training/stage.ts";
import { beginStage, type DayWeather, dayWeather, endDay, type LearningBirds } from "./model/learningBirds.ts";
import { type Mishap, programmeDay } from "./programmeDay.ts";
import { seededRandom } from "./random.ts";
import { practiceYard } from "./yard.ts";

/**
 * A feeder that has been up since its programme began and reports the past from its own store, day by day: its uptime dates the events.
 * The same seed, begin and stages give the same days again.
 */
export class ProgrammeFeeder {
  readonly #start: ProgrammeFeederStart;
  #seq = 0;
  #birds: LearningBirds;
  #left: number = programmeFeeder.hopperCapacityGrams;

  constructor(start: ProgrammeFeederStart) {
    this.#start = start;
    this.#birds = start.birds;
  }

  /** The events of a whole day, each by its uptime; a day before it was up has none. */
  liveDay(day: ProgrammeDate, stage: Stage): LivedDay {
    if (stage.kind !== this.#birds.stage) this.#birds = beginStage(this.#birds, stage.kind);
    const weather = this.#weather(day);
    const isOut = this.#left < 0.4 * programmeFeeder.hopperCapacityGrams && day.mishap !== "hopperEmpty";
    const refill = day.afterEmpty || isOut ? programmeFeeder.hopperCapacityGrams - this.#left : null;
    if (refill !== null) this.#left = programmeFeeder.hopperCapacityGrams;
    const lived = programmeDay({
      ...{ lit: litSpan(day.date), stage, birds: this.#birds, weather, mishap: day.mishap },
      refillGrams: refill === null ? null : Math.round(refill),
      random: this.#randomOf(day, 2),
    });
    this.#birds = endDay(this.#birds, lived);
    this.#left = Math.max(day.mishap === "hopperEmpty" ? 0 : 300, this.#left - lived.portions * portionGrams);
    if (day.mishap === "hopperEmpty") this.#left = 0;
    const first = this.#seq + 1;
    this.#seq += lived.events.length;
    const { bootedAt } = this.#start;
    const events = lived.events
      .map(({ at, content, pays }, index) => ({
        ...{ seq: first + index, uptimeMs: at - bootedAt, ...content },
        ...(content.kind === "portion" ? { paysFor: pays === null ? null : first + pays } : {}),
      }))
      .filter(({ uptimeMs }) => uptimeMs >= 0);
    return { events, weather };
  }

  uptimeAt(at: Instant): number {
    return at - this.#start.bootedAt;
  }

  report(events: readonly object[], now: Instant, airCelsius: number): object {
    const { boot } = this.#start;
    const sentUptimeMs = this.uptimeAt(now);
    return { boot, sentUptimeMs, readings: { airCelsius, supplyVolts: 13.2, spooled: 0, paused: false }, events };
  }

  #randomOf({ number }: ProgrammeDate, series: number) {
    return seededRandom(Math.floor(hashedRandom(this.#start.seed, series, number) * 2 ** 32));
  }

  #weather(day: ProgrammeDate): DayWeather {
    const noon = instantOfLocal(day.date, "12:00", practiceYard.zone);
    const newYear = instantOf(`${day.date.slice(0, 4)}-01-01T00:00:00Z`);
    const yearPart = (noon - newYear) / (365.25 * 86_400_000);
    return dayWeather(yearPart, practiceYard.place.latitudeDegrees > 0, this.#randomOf(day, 1));
  }
}

export interface ProgrammeFeederStart {
  readonly seed: number;
  readonly boot: string;
  readonly bootedAt: Instant;
  readonly birds: LearningBirds;
}

export interface ProgrammeDate {
  readonly number: number; // 0: the first
  readonly date: LocalDate;
  readonly mishap: Mishap;
  readonly afterEmpty: boolean;
}

export interface LivedDay {
  readonly events: readonly (object & { readonly uptimeMs: number })[];
  readonly weather: DayWeather;
}

const portionGrams = 2;

/** What the keeper would have entered about it. */
export const programmeFeeder = {
  name: "Aspen",
  food: "peanuts, unsalted",
  foodKind: "peanutHalves",
  grainsPerPortion: 18,
  hopperCapacityGrams: 2_500,
  portionGrams,
  sensors: { button: false, detector: false, chute: true, perch: false, scale: false },
  battery: "none",
  reportEverySeconds: 60,
  warnAheadDays: 0.25,
} as const;

/** Entered once it has caught up: before, a sensor whose last use was weeks ago would be judged silent. */
export const programmeSensors = { ...programmeFeeder.sensors, button: true, detector: true, perch: true };

const litSpan = (date: LocalDate): TimeSpan => {
  const { dawn, dusk } = civilDayAround(practiceYard.place, instantOfLocal(date, "12:00", practiceYard.zone));
  return { from: dawn, to: dusk };
};

/** When the record of a date is whole, and the practice keeper reads it: in the next morning, before the birds come. */
export const morningAfter = (date: LocalDate): Instant =>
  after(instantOfLocal(addLocalDays(date, 1), "00:00", practiceYard.zone), minutes(90) as Span);
