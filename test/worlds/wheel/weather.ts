import type { Random } from "./random.ts";
import { type Place, sunAltitude } from "./sun.ts";
import { dayOfYear, hour, solarHour } from "./time.ts";

/**
 * Weather at 68 degrees north, hour by hour. Air temperature is a yearly and a daily wave, two autoregressive processes of the first
 * order (their sum is an ARMA(2,1): Granger and Morris, "Time series modelling and interpretation", J. R. Stat. Soc. A 139, 1976),
 * and spells: clear cold highs down to -35 °C and below, and Atlantic thaws with wind and freezing rain.
 */
export interface Sky {
  air: number; // °C
  humidity: number; // %, over liquid water
  cloud: number; // 0..1
  wind: number; // m/s
  rain: number; // mm/h
  snowfall: number; // mm/h of water
  freezingRain: number; // mm/h
  hail: boolean;
  damp: number; // how damp the food is: 0..1
  glaze: number; // mm of ice on what stands outside
}

type Spell = "none" | "cold" | "thaw";

export class Weather {
  readonly sky: Sky;
  private readonly random: Random;
  private readonly place: Place;
  private readonly seasonMean: number;
  private readonly seasonSwing: number;
  private hourIndex: number;
  private spell: Spell = "none";
  private spellEndsAt = 0;
  private spellDepth = 0; // K, of the present spell
  private spellShift = 0; // K, follows the depth within about half a day
  private slow: number;
  private fast: number;
  private cloudiness: number;
  private windiness: number;
  private isWet = false;
  private intensity = 0; // mm/h
  private airBefore: number;
  private airAfter: number;

  constructor(random: Random, begin: number, place: Place) {
    this.random = random;
    this.place = place;
    // Kiruna's months: -14 °C in January, 12 °C in July (a public climate table), the places around it differ by some kelvin.
    this.seasonMean = -1.5 + 1.5 * random.normal();
    this.seasonSwing = random.between(12, 15);
    [this.slow, this.fast, this.cloudiness, this.windiness] = [
      random.normal(),
      random.normal(),
      random.normal(),
      random.normal(),
    ];
    this.hourIndex = Math.floor(begin / hour);
    this.sky = {
      air: 0,
      humidity: 80,
      cloud: 0.5,
      wind: 2,
      rain: 0,
      snowfall: 0,
      freezingRain: 0,
      hail: false,
      damp: random.between(0, 0.5),
      glaze: 0,
    };
    this.airBefore = this.airAt(this.hourIndex * hour);
    this.airAfter = this.airBefore;
    this.stepHour();
  }

  /** @returns the weather at this moment: the same object each time, valid until the next call. Time may not run backwards. */
  at(moment: number): Sky {
    while (moment >= (this.hourIndex + 1) * hour) {
      this.hourIndex += 1;
      this.stepHour();
    }
    const share = moment / hour - this.hourIndex;
    this.sky.air = this.airBefore + (this.airAfter - this.airBefore) * share;
    return this.sky;
  }

  private stepHour(): void {
    const at = this.hourIndex * hour;
    this.changeSpell(at);
    this.slow = nextOfOrderOne(this.slow, 90, this.random); // hours: fronts and highs follow each other within days
    this.fast = nextOfOrderOne(this.fast, 8, this.random);
    this.cloudiness = nextOfOrderOne(this.cloudiness, 15, this.random);
    this.windiness = nextOfOrderOne(this.windiness, 12, this.random);
    this.airBefore = this.airAfter;
    this.airAfter = this.airAt(at + hour);
    this.stepCloudAndWind();
    this.stepPrecipitation();
    this.stepHumidity(at);
    this.stepWetThings();
  }

  private airAt(at: number): number {
    const winter = winterShare(at);
    const season = this.seasonMean - this.seasonSwing * Math.cos(yearAngle(at));
    const noonAltitude = 22 - 23.4 * Math.cos(yearAngle(at) + 0.2);
    const daily = (0.5 + 5 * Math.max(0, Math.sin((noonAltitude * Math.PI) / 180))) * (1 - 0.6 * this.sky.cloud);
    const wave = daily * Math.sin((2 * Math.PI * (solarHour(at, this.place.longitudeDegrees) - 9)) / 24);
    const air =
      season + (3 + 3.5 * winter) * this.slow + (1 + 0.8 * winter) * this.fast + wave + winter * this.spellShift;
    return withinRecords(air, winter);
  }

  /** How often and how long: from memory of northern winters. */
  private changeSpell(at: number): void {
    const target = this.spell === "none" ? 0 : this.spellDepth;
    this.spellShift += (target - this.spellShift) * 0.08;
    if (this.spell !== "none") {
      if (at >= this.spellEndsAt) this.spell = "none";
      return;
    }
    if (!this.random.chance(winterShare(at) / (7 * 24))) return;
    const isCold = this.random.chance(0.6);
    this.spell = isCold ? "cold" : "thaw";
    this.spellDepth = isCold ? -this.random.between(6, 18) : this.random.between(8, 17);
    this.spellEndsAt = at + (isCold ? 24 + this.random.exponential(80) : 12 + this.random.exponential(36)) * hour;
  }

  private stepCloudAndWind(): void {
    const { spell, sky } = this;
    const shift = spell === "cold" ? -2 : spell === "thaw" ? 2 : 0.4;
    sky.cloud = 1 / (1 + Math.exp(-(1.5 * this.cloudiness + shift)));
    const factor = spell === "cold" ? 0.4 : spell === "thaw" ? 1.7 : 1;
    sky.wind = 3 * factor * Math.exp(0.5 * this.windiness);
  }

  /** Wet and dry hours by a two-state Markov chain (Gabriel and Neumann 1962 had it for days); 450 to 550 mm a year. */
  private stepPrecipitation(): void {
    const { random, sky, spell } = this;
    const perHour = this.isWet ? 1 / 5 : spell === "thaw" ? 1 / 10 : spell === "cold" ? 1 / 90 : 1 / 30;
    if (random.chance(perHour)) {
      this.isWet = !this.isWet;
      this.intensity = 0.5 * random.gamma(0.8);
    }
    [sky.rain, sky.snowfall, sky.freezingRain, sky.hail] = [0, 0, 0, false];
    if (!this.isWet) return;
    const amount = this.intensity * random.factor(0.4);
    const air = this.airBefore;
    if (air > 1.5) {
      sky.rain = amount;
      sky.hail = air > 8 && amount > 1.2 && random.chance(0.15);
    } else if (air < 0.3 && air > -6 && spell === "thaw" && this.spellShift < 0.8 * this.spellDepth) {
      sky.freezingRain = amount; // the warm air is aloft already, the ground still cold
    } else if (air > 0) {
      sky.rain = amount * (air / 1.5);
      sky.snowfall = amount - sky.rain;
    } else sky.snowfall = amount;
  }

  private stepHumidity(at: number): void {
    const { sky } = this;
    const altitude = Math.max(0, sunAltitude(at, this.place));
    const drying = 45 * Math.sin((altitude * Math.PI) / 180) * (1 - 0.7 * sky.cloud);
    const wetting = this.isWet ? 9 : 0;
    const humidity = 87 + wetting - drying + 4 * this.random.normal();
    // Below zero air is seldom far beyond saturation over ice, which hoar frost takes.
    sky.humidity = Math.min(100, 103 * iceToWaterSaturation(this.airBefore), Math.max(20, humidity));
  }

  private stepWetThings(): void {
    const { sky, airBefore: air } = this;
    const isDamp = air > -2 && (sky.humidity > 92 || sky.rain > 0);
    sky.damp += ((isDamp ? 1 : 0) - sky.damp) / 20; // seed takes up and loses water within a day: from memory
    const refreezing = sky.rain > 0 && this.airAfter < 0.2 ? 0.3 * sky.rain : 0;
    const wetSnow = air > -1 && air < 0.5 ? 0.15 * sky.snowfall : 0;
    const hoar = air < -3 && sky.cloud < 0.3 ? 0.014 : 0;
    sky.glaze += 0.5 * sky.freezingRain + refreezing + wetSnow + hoar;
    sky.glaze -= air > 0.5 ? 0.3 * air : 0.01; // melting; else evaporation, millimetres in days
    sky.glaze = Math.min(8, Math.max(0, sky.glaze));
  }
}

/** With variance 1. @param hours in which it forgets all but 1/e */
const nextOfOrderOne = (before: number, hours: number, random: Random): number => {
  const kept = Math.exp(-1 / hours);
  return kept * before + Math.sqrt(1 - kept * kept) * random.normal();
};

/**
 * Thaws over snow hardly get beyond 8 °C, since the snow melts; the records of cold are -40 to -45 °C (from memory).
 */
function withinRecords(air: number, winter: number): number {
  if (air > 2) return Math.min(30, 2 + (air - 2) * (1 - 0.7 * winter));
  return air < -28 ? Math.max(-40, -28 + 0.6 * (air + 28)) : air;
}

/** The coldest days are around 22 January. */
const yearAngle = (at: number): number => (2 * Math.PI * (dayOfYear(at) - 22)) / 365.25;
/** 1 at the coldest time of the year, 0 at the warmest. */
const winterShare = (at: number): number => (1 + Math.cos(yearAngle(at))) / 2;

/** Magnus formulas over ice and over water with the constants of the WMO's guide to instruments (WMO-No. 8, annex 4.B). */
function iceToWaterSaturation(air: number): number {
  if (air >= 0) return 1;
  return Math.exp((22.46 * air) / (272.62 + air) - (17.62 * air) / (243.12 + air));
}
