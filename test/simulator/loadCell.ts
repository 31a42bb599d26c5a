import { inHours, type Span } from "../../server/domain/instant.ts";
import type { RandomSource } from "../../server/practice/random.ts";
import type { Climate } from "./climate.ts";
import type { LoadCellParameters } from "./plot.ts";

/**
 * A load cell outdoors: its zero moves with its own temperature, which lags behind the box's, and wanders by itself; it creeps
 * after a change of load; snow lies on what it carries and slides off; a bird may sit there at the moment of reading.
 */
export class LoadCell {
  readonly #cell: LoadCellParameters;
  readonly #chance: RandomSource;
  #ownCelsius: number | null = null;
  #wander = 0;
  #snow = 0;
  #crept = 0; // g, the part of the present load that has crept in
  #tareCelsius: number;

  constructor(cell: LoadCellParameters, chance: RandomSource) {
    this.#cell = cell;
    this.#chance = chance;
    this.#tareCelsius = chance.between(5, 20); // tared at the kitchen table or in October's garden
  }

  get snowGrams(): number {
    return this.#snow;
  }

  pass(span: Span, climate: Climate, loadGrams: number): void {
    const { lagMinutes, wanderGrams, creepShare, snowy } = this.#cell;
    const long = inHours(span);
    const own = this.#ownCelsius ?? climate.insideCelsius;
    this.#ownCelsius = own + (1 - Math.exp((-60 * long) / lagMinutes)) * (climate.insideCelsius - own);
    const kept = Math.exp(-long / 8);
    this.#wander = kept * this.#wander + Math.sqrt(1 - kept * kept) * this.#chance.normal(0, wanderGrams);
    this.#crept += (1 - Math.exp(-long / 0.25)) * (creepShare * loadGrams - this.#crept);
    if (!snowy) return;
    const change = climate.snowing ? 12 : climate.airCelsius > 0.5 ? -40 : climate.wind > 10 ? -15 : 0;
    this.#snow = Math.min(120, Math.max(0, this.#snow + change * long));
    // Sun or wind takes it off in one go.
    if (
      this.#snow > 25 &&
      climate.lidCelsius > climate.airCelsius + 0.5 &&
      this.#chance.isTrueWith(1 - Math.exp(-long / 3))
    )
      this.#snow = 0;
  }

  read(loadGrams: number): number {
    const { zeroPerDegree, zeroGrams, noiseGrams, perchedShare } = this.#cell;
    const drift = zeroPerDegree * ((this.#ownCelsius ?? this.#tareCelsius) - this.#tareCelsius);
    const bird = this.#chance.isTrueWith(perchedShare) ? this.#chance.between(180, 480) : 0;
    const shown =
      loadGrams +
      drift +
      zeroGrams +
      this.#wander +
      this.#crept +
      this.#snow +
      bird +
      this.#chance.normal(0, noiseGrams);
    return Math.round(shown * 10) / 10;
  }
}
