import type { Random } from "./random.ts";
import { daylightOf, sunHeight } from "./sun.ts";
import { day, hour, localDay, localHour, localMidnight, minute, summer } from "./time.ts";

/**
 * A yard inland near 35 degrees South: mild wet winters, hot dry summers with hot north winds that a cool change ends. The
 * figures are typical of such a climate, from memory. No snow; a light frost in a few clear winter nights.
 */
export interface Sky {
  air: number; // degrees Celsius in the shade
  dewPoint: number;
  humidity: number; // percent
  cloud: number; // 0 to 1
  wind: number; // metres a second
  rain: number; // millimetres an hour
  dust: number; // 0 to 1, raised from dry ground
  sunWatts: number; // on a square metre, level
  sunHeight: number; // sine of its altitude
}

export const weatherStep = 5 * minute;

/** What a day is like, drawn at its midnight. */
interface DayPlan {
  readonly mean: number;
  readonly range: number;
  readonly cloud: number;
  readonly dewPoint: number;
  readonly wind: number;
  readonly wetHours: number;
  readonly changeAt: number | null; // when the cool change comes
  readonly drop: number;
}

/** Buck 1981's simple form of the pressure of saturated vapour, in hectopascals, from memory. */
const saturation = (celsius: number): number => 6.1121 * Math.exp((17.502 * celsius) / (240.97 + celsius));
/** Haurwitz 1945 for a clear sky, from memory. */
const clearSky = (height: number): number => (height <= 0.01 ? 0 : 1098 * height * Math.exp(-0.057 / height));

export class Weather {
  readonly sky: Sky;
  private readonly random: Random;
  private plan: DayPlan;
  private planDay: number;
  private anomaly = 0;
  private wasWet = false;
  private base: number;
  private range: number;
  private gust = 0;
  private isShowering = false;
  private dryness: number;

  constructor(random: Random, begin: number) {
    this.random = random;
    this.planDay = localDay(begin);
    this.dryness = 0.5 + 0.4 * summer(this.planDay);
    this.plan = this.drawPlan(this.planDay);
    this.base = this.plan.mean;
    this.range = this.plan.range;
    this.sky = {
      air: this.base,
      dewPoint: this.plan.dewPoint,
      humidity: 60,
      cloud: this.plan.cloud,
      wind: this.plan.wind,
      rain: 0,
      dust: 0,
      sunWatts: 0,
      sunHeight: 0,
    };
    this.step(begin);
  }

  step(at: number): void {
    const today = localDay(at);
    if (today !== this.planDay) {
      this.planDay = today;
      this.plan = this.drawPlan(today);
    }
    this.stepWarmth(at);
    this.stepWind(at);
    this.stepRain();
    const { sky } = this;
    sky.cloud += 0.05 * (this.plan.cloud - sky.cloud) + this.random.normal(0, 0.03);
    sky.cloud = Math.min(1, Math.max(0, sky.rain > 0 ? Math.max(0.7, sky.cloud) : sky.cloud));
    sky.sunHeight = sunHeight(at);
    // Kasten and Czeplak 1980 for what clouds let through, from memory.
    sky.sunWatts = clearSky(sky.sunHeight) * (1 - 0.75 * sky.cloud ** 3.4);
    this.dryness = Math.min(1, Math.max(0, this.dryness + (sky.rain > 0 ? -0.004 * sky.rain : 0.00002 * sky.air)));
    sky.dust = this.dryness > 0.5 && sky.rain === 0 ? Math.min(1, Math.max(0, (sky.wind - 7) / 9)) : 0;
  }

  private drawPlan(ofDay: number): DayPlan {
    const { random } = this;
    const season = summer(ofDay);
    const isChange = this.anomaly > 3 && random.chance(0.3 + 0.1 * season);
    const drop = isChange ? Math.min(16, this.anomaly + random.between(2, 7)) : 0;
    const isWet = random.chance((0.26 - 0.19 * season) * (this.wasWet ? 1.7 : 0.85) + (isChange ? 0.2 : 0));
    const cloud = isWet ? random.between(0.5, 1) : random.unit() ** (1.6 + 0.8 * season);
    const mean = 16 + 6.5 * season + this.anomaly;
    this.anomaly -= drop;
    // Heat builds up day by day while the wind comes from the dry inland.
    this.anomaly = 0.8 * this.anomaly + random.normal(this.anomaly > 1 && !isWet ? 1 + season : 0, 2.2);
    this.anomaly = Math.max(-6.5, this.anomaly);
    this.wasWet = isWet;
    const hot = Math.max(0, mean - 25);
    return {
      mean,
      range: Math.max(4, (11.5 + 4 * season + random.normal(0, 1.4)) * (1.1 - 0.6 * cloud)),
      cloud,
      dewPoint: 7.5 + season + (isWet ? 2.5 : 0) - 0.5 * hot + random.normal(0, 2),
      wind: 1.2 + 2.4 * random.unit() + random.exponential(0.8) + (isChange ? 2 : 0),
      wetHours: isWet ? random.between(1, 12) : 0,
      changeAt: isChange ? localMidnight(ofDay) + random.between(11, 21) * hour : null,
      drop,
    };
  }

  private stepWarmth(at: number): void {
    const { plan, sky } = this;
    const changed = plan.changeAt !== null && at > plan.changeAt;
    const pace = weatherStep / (changed ? 0.6 * hour : 5 * hour);
    this.base += pace * (plan.mean - (changed ? plan.drop : 0) - this.base);
    this.range += (weatherStep / (4 * hour)) * (plan.range - this.range);
    // Coldest about sunrise, warmest in the middle of the afternoon.
    const { sunrise } = daylightOf(localDay(at));
    const peak = 15.2 * hour + localMidnight(localDay(at));
    sky.air = this.base + (this.range / 2) * dailyWave(at, sunrise, peak) + this.random.normal(0, 0.08);
    sky.dewPoint += (weatherStep / (6 * hour)) * (plan.dewPoint - sky.dewPoint);
    if (sky.dewPoint > sky.air) sky.dewPoint = sky.air; // fog
    sky.humidity = (100 * saturation(sky.dewPoint)) / saturation(sky.air);
  }

  private stepWind(at: number): void {
    const { plan, sky, random } = this;
    this.gust += 0.25 * -this.gust + random.normal(0, 0.5);
    const afternoon = Math.max(0, Math.cos(((localHour(at) - 15.5) / 14) * Math.PI));
    const front = plan.changeAt === null ? 0 : 7 * Math.exp(-(((at - plan.changeAt) / (0.7 * hour)) ** 2));
    sky.wind = Math.max(0, plan.wind * (0.4 + 0.9 * afternoon) + front + this.gust);
  }

  private stepRain(): void {
    const { plan, sky, random } = this;
    const share = plan.wetHours / 24;
    if (this.isShowering) {
      if (random.chance(weatherStep / (35 * minute))) this.isShowering = false;
    } else {
      this.isShowering = random.chance((share * weatherStep) / (35 * minute));
    }
    sky.rain = this.isShowering ? random.exponential(1.1) : 0;
  }
}

/** -1 at sunrise, 1 at the peak, cosines between. */
function dailyWave(at: number, sunrise: number, peak: number): number {
  if (at >= sunrise && at <= peak) return -Math.cos((Math.PI * (at - sunrise)) / (peak - sunrise));
  const night = day - (peak - sunrise);
  const since = at > peak ? at - peak : at - peak + day;
  return Math.cos((Math.PI * Math.min(since, night)) / night);
}
