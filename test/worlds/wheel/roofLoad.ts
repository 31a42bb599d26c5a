import type { Random } from "./random.ts";
import type { Sky } from "./weather.ts";

/**
 * Snow and ice on the feeder's roof, in grams, hour by hour: it falls, settles, is blown off, melts and slides.
 * Melting by degree hours: 2.5 to 11 mm a day and kelvin (Hock, "Temperature index melt modelling in mountain areas", J. Hydrol. 282,
 * 2003; from memory), here 4.
 */
export class RoofLoad {
  grams = 0;
  private readonly random: Random;
  private readonly squareMetres: number;

  constructor(random: Random) {
    this.random = random;
    this.squareMetres = random.logBetween(0.03, 0.25); // common practice, no source: a lid to a small roof
  }

  stepHour(sky: Sky): void {
    const millimetre = 1_000 * this.squareMetres; // grams: a litre on each square metre
    this.grams += millimetre * (sky.snowfall + 0.6 * sky.freezingRain);
    // Rain stays in snow that lies there, and runs off a bare roof.
    if (this.grams > 0) this.grams += 0.3 * millimetre * sky.rain;
    if (sky.air > 0) this.grams -= millimetre * (4 / 24) * sky.air;
    if (sky.wind > 6 && sky.glaze < 1) this.grams *= 0.95;
    if (this.grams > 300 && sky.air > -1 && this.random.chance(0.02)) this.grams *= this.random.between(0, 0.3);
    this.grams = Math.min(40 * millimetre, Math.max(0, this.grams)); // more than half a metre of snow falls off the sides
  }
}
