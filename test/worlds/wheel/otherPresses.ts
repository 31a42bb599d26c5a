import type { Agenda } from "./agenda.ts";
import type { PlantedFault } from "./fault.ts";
import type { Program } from "./program.ts";
import type { Random } from "./random.ts";
import { hour, minute } from "./time.ts";
import type { Weather } from "./weather.ts";

/**
 * Presses and landings that no bird makes. On a healthy feeder a stray one at times: a marten, a branch, a gust at the perch. A contact
 * with damp or ice in it chatters in bursts at any hour. How often: common practice, no source.
 */
export interface OtherPressParts {
  readonly agenda: Agenda;
  readonly program: Program;
  readonly fault: PlantedFault;
  readonly weather: Weather;
}

export class OtherPresses {
  private readonly random: Random;
  private readonly parts: OtherPressParts;
  private readonly straysPerHour: number;
  private readonly burstsPerHour: number;
  private readonly burstSpan: number;
  private readonly gap: number; // ms between two presses of a burst

  constructor(random: Random, parts: OtherPressParts) {
    this.random = random;
    this.parts = parts;
    this.straysPerHour = random.chance(0.5) ? 0 : random.logBetween(0.01, 0.4) / 24;
    this.burstsPerHour = random.logBetween(4, 40) / 24;
    this.burstSpan = random.logBetween(10_000, 2 * minute);
    this.gap = random.logBetween(150, 2_500);
  }

  /** What happens in the hour from now on. */
  stepHour(): void {
    const { agenda, program, fault, weather } = this.parts;
    const { random } = this;
    const sky = weather.at(agenda.now);
    for (let stray = random.poisson(this.straysPerHour); stray > 0; stray -= 1) {
      agenda.in(random.next() * hour, () => {
        if (fault.active !== "buttonDead") program.press();
      });
    }
    for (let gust = random.poisson(0.05 * Math.max(0, sky.wind - 9)); gust > 0; gust -= 1) {
      agenda.in(random.next() * hour, () => {
        if (fault.active !== "perchDead") program.land();
      });
    }
    if (fault.active !== "buttonChatters") return;
    const wet = sky.damp > 0.5 || sky.glaze > 0.2 || Math.abs(sky.air) < 2 ? 1.5 : 0.8;
    for (let burst = random.poisson(wet * this.burstsPerHour); burst > 0; burst -= 1) {
      agenda.in(random.next() * hour, () => this.chatter(agenda.now + this.burstSpan * random.factor(0.6)));
    }
  }

  private chatter(until: number): void {
    const { agenda, program } = this.parts;
    if (agenda.now > until) return;
    program.press();
    agenda.in(Math.max(50, this.random.exponential(this.gap)), () => this.chatter(until));
  }
}
