import type { LoggedSettings } from "../../server/contract/feederLog.ts";
import { readReport } from "../../server/contract/readReport.ts";
import { after, days, hours, type Instant, minutes, type Span, seconds } from "../../server/domain/instant.ts";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import type { LogLine } from "../../server/replay/logLine.ts";
import { Appetite, type Landing, poisson, simulateLandings } from "./birdDay.ts";
import { climateAt } from "./climate.ts";
import { LoadCell } from "./loadCell.ts";
import type { SimulatedMoment, TrueLanding, TrueState, TrueTurn } from "./moment.ts";
import type { Disturbance, PlantedFaultKind, Plot } from "./plot.ts";
import { type FoodStore, turnTray } from "./tray.ts";

/** What the keeper reads there, and what befalls the feeder meanwhile: set by whoever watches. */
export interface KeeperPhone {
  asksForFood: boolean;
  /** Broken just now, besides what the plot planted. Left out or null: nothing. */
  mishap?: Disturbance | null;
}

export const feederName = "rowan";

/** What the keeper says of the feeder at the beginning. */
const settingsOf = (plot: Plot): LoggedSettings => ({
  name: "Rowan",
  zone: "Europe/Stockholm",
  place: plot.place,
  sensors: plot.sensors,
  hopperCapacityGrams: plot.food.capacityGrams,
  portionGrams: plot.food.toldPortionGrams,
  reportEverySeconds: plot.reportEverySeconds,
  battery: "none",
});

/**
 * Lives a plot through and tells it as a feeder's log, line by line, with the truth beside each. The same plot tells the same
 * story. Lines are what a server would take, so that judgement is judged by the very steps that the server takes.
 */
export function* simulatePlot(plot: Plot, phone: KeeperPhone = { asksForFood: false }): Generator<SimulatedMoment> {
  const feeder = new PlotSimulation(plot, phone);
  yield feeder.begin();
  const every = seconds(plot.reportEverySeconds);
  const end = after(plot.from, days(plot.days));
  for (let at = after(plot.from, every); at <= end; at = after(at, every)) {
    yield* feeder.until(at);
  }
}

interface Written {
  readonly seq: number;
  readonly uptimeMs: number;
  readonly kind: string;
}

/** One feeder, step by step: for whoever lives several side by side, where a silent one must not run ahead. */
export class PlotSimulation {
  readonly #plot: Plot;
  readonly #sky: number;
  readonly #chance: RandomSource;
  readonly #phone: KeeperPhone;
  readonly #cell: LoadCell;
  readonly #store: FoodStore;
  readonly #appetite = new Appetite();
  #now: Instant;
  #bootedAt: Instant;
  #boot = 1;
  #seq = 0;
  #spool: Written[] = [];
  #counts = { button: 0, detector: 0, chute: 0, perch: 0 };
  #today: Landing[] = [];
  #timers: Instant[] = [];
  #dayEnds: Instant;
  #mean: number; // of a portion
  #emptySince: Instant | null = null;
  #refillAt: Instant | null = null;
  #told: { readonly at: Instant; readonly line: LogLine }[] = [];
  #deafUntil: Instant;
  #burstUntil: Instant;
  #stuckGrams: number | null = null;
  #climateAt: Instant | null = null; // since when the thermometers stand still
  #truth = { portions: 0, unfed: 0, landings: 0 };
  #turns: TrueTurn[] = [];
  #landings: TrueLanding[] = [];

  constructor(plot: Plot, phone: KeeperPhone) {
    const { food } = plot;
    const chance = seededRandom(plot.seed * 2 + 1);
    this.#phone = phone;
    this.#plot = plot;
    this.#sky = plot.skySeed ?? plot.seed;
    this.#chance = chance;
    this.#cell = new LoadCell(plot.cell, chance);
    this.#mean = food.portionGrams;
    const tray = Math.min(food.startGrams, food.trayPortions * food.portionGrams);
    this.#store = { hopperGrams: food.startGrams - tray, trayGrams: tray };
    this.#now = plot.from;
    this.#bootedAt = plot.from;
    this.#dayEnds = plot.from;
    this.#deafUntil = plot.from;
    this.#burstUntil = plot.from;
    // Who has no scale tells how much is in it, or nothing could be known.
    if (!plot.sensors.scale) this.#tellLevel(minutes(2));
  }

  begin(): SimulatedMoment {
    return this.moment({
      kind: "settings",
      feeder: feederName,
      at: this.#plot.from,
      settings: settingsOf(this.#plot),
    });
  }

  moment(line: LogLine): SimulatedMoment {
    const told =
      line.kind === "report" ? { turns: this.#turns, landings: this.#landings } : { turns: [], landings: [] };
    if (line.kind === "report") [this.#turns, this.#landings] = [[], []];
    return {
      line,
      ...told,
      truth: this.truth(),
    };
  }

  truth(): TrueState {
    const { portions, unfed, landings } = this.#truth;
    return {
      at: this.#now,
      grams: this.#total(),
      portionGrams: this.#mean,
      emptySince: this.#emptySince,
      fault: this.#planted(this.#now),
      portions,
      unfed,
      landings,
    };
  }

  /** All that happens up to `at`, when the next report is due. */
  *until(at: Instant): Generator<SimulatedMoment> {
    while (this.#now >= this.#dayEnds) this.#beginDay();
    if (this.#wasDark && this.#phone.mishap !== "powerCut") this.#reboot(this.#now);
    this.#wasDark = this.#phone.mishap === "powerCut";
    const span = (at - this.#now) as Span;
    this.#birdsUntil(at);
    this.#keeperUntil(at);
    this.#cell.pass(span, climateAt(this.#sky, this.#plot.place, at), this.#total());
    this.#now = at;
    while (this.#told[0] !== undefined && this.#told[0].at <= at) {
      const next = this.#told.shift();
      if (next) yield this.moment({ ...next.line, at });
    }
    const line = this.#report(at);
    if (line) yield this.moment(line);
  }

  #total = (): number => this.#store.hopperGrams + this.#store.trayGrams;

  #planted(at: Instant): PlantedFaultKind | null {
    const { fault } = this.#plot;
    return fault !== null && at >= fault.at ? fault.kind : null;
  }

  #fault = (at: Instant): Disturbance | null => this.#phone.mishap ?? this.#planted(at);

  // --- a day -----------------------------------------------------------------------------------------------------------

  #beginDay(): void {
    const { birds, food, line, place } = this.#plot;
    const from = this.#dayEnds;
    this.#dayEnds = after(from, days(1));
    const chance = this.#chance;
    const appetite = this.#appetite.next(birds, chance);
    this.#today = simulateLandings(birds, place, this.#sky, from, appetite, chance);
    this.#timers = [];
    for (let timer = 0; timer < birds.timerPerDay; timer += 1)
      this.#timers.push(after(from, Math.round(chance.between(7, 15) * 3_600_000) as Span));
    this.#timers.sort((a, b) => a - b);
    // The mean portion wanders with the food and the weather, and comes back.
    const off = Math.log(this.#mean / food.portionGrams);
    this.#mean = food.portionGrams * Math.exp(0.8 * off + 0.6 * chance.normal(0, food.portionWander));
    if (poisson(line.outagesPerMonth / 30, chance) > 0) {
      const begins = after(from, Math.round(chance.between(0, 24) * 3_600_000) as Span);
      this.#deafFrom = begins;
      this.#deafUntil = after(begins, Math.round(chance.between(0.3, 10) * 3_600_000) as Span);
    }
    if (poisson(line.rebootsPerMonth / 30, chance) > 0) this.#reboot(from);
    this.#planRefill(from);
  }
  #deafFrom = 0 as Instant;
  #wasDark = false;

  #reboot(at: Instant): void {
    this.#boot += 1;
    this.#bootedAt = at;
    this.#seq = 0;
    this.#turns = [];
    this.#landings = [];
    this.#spool = []; // told before, or lost: this simple feeder keeps nothing over a restart
    this.#counts = { button: 0, detector: 0, chute: 0, perch: 0 };
  }

  // --- birds and motor -------------------------------------------------------------------------------------------------

  #birdsUntil(to: Instant): void {
    while (this.#timers[0] !== undefined && this.#timers[0] <= to)
      this.#portion("timer", null, this.#timers.shift() ?? to);
    while (this.#today[0] !== undefined && this.#today[0].at <= to) {
      const landing = this.#today.shift();
      if (landing) this.#land(landing);
    }
  }

  #land({ at, acts }: Landing): void {
    const { sensors } = this.#plot;
    // Birds that found nothing come less often.
    if (this.#emptySince !== null && this.#chance.isTrueWith(0.4)) return;
    this.#truth.landings += 1;
    const fault = this.#fault(at);
    if (fault === "powerCut") return;
    if (sensors.perch && fault !== "perchDead") {
      this.#counts.perch += 1;
      this.#write({ kind: "visit" }, at);
    }
    const pressed = sensors.button && fault !== "buttonDead" && acts.includes("press");
    const deposited = sensors.detector && fault !== "detectorDeaf" && acts.includes("deposit");
    this.#landings.push({ pressed, deposited, broken: fault !== null });
    let later = at;
    for (const act of acts) {
      later = after(later, seconds(2));
      if (act === "press") {
        if (!sensors.button || fault === "buttonDead") continue;
        this.#counts.button += 1;
        this.#portion("press", this.#write({ kind: "press" }, later), later);
      } else {
        if (!sensors.detector || fault === "detectorDeaf") continue;
        this.#counts.detector += 1;
        const signal = Math.min(1, Math.max(0.4, this.#chance.normal(0.82, 0.05)));
        const seq = this.#write({ kind: "deposit", metal: true, signal, chute: true }, later);
        this.#portion("deposit", seq, later);
      }
    }
  }

  #portion(cause: string, paysFor: number | null, asked: Instant): void {
    const { plot, chance } = { plot: this.#plot, chance: this.#chance };
    const at = after(asked, seconds(1));
    const fault = this.#fault(at);
    if (fault === "powerCut") return;
    const { insideCelsius } = climateAt(this.#sky, plot.place, asked);
    const turn = turnTray(this.#store, plot, fault, this.#mean, insideCelsius, chance);
    this.#truth.portions += 1;
    const emptied = turn.pieces === 0 && this.#total() < 0.5 * this.#mean;
    if (emptied) this.#emptySince ??= at;
    const runsOut = fault === "empty" || fault === "bridged";
    const shows = fault === "empty" ? emptied : runsOut ? turn.pieces === 0 : fault !== null;
    if (this.#truth.unfed > 0 || shows) this.#truth.unfed += 1;
    this.#turns.push({ ...turn, insideCelsius, unfed: this.#truth.unfed });
    if (!plot.portionsTold) return;
    this.#counts.chute += plot.sensors.chute ? turn.seen : 0;
    this.#write(
      {
        kind: "portion",
        cause,
        ...(paysFor === null ? {} : { paysFor }),
        motorMs: 900,
        ...(plot.currentMeasured ? { meanMilliamps: Math.round(10 * turn.milliamps) / 10 } : {}),
        ...(plot.sensors.chute ? { chuteCount: turn.seen } : {}),
      },
      at,
    );
  }

  // --- keeper ----------------------------------------------------------------------------------------------------------

  #planRefill(day: Instant): void {
    const { keeper, food, fault } = this.#plot;
    if (fault?.kind === "empty") return; // that is how it came to be
    const evening = after(day, Math.round(this.#chance.between(15, 19) * 3_600_000) as Span);
    if (keeper.refillsBelow === "ranOut") {
      if (this.#emptySince !== null && day - this.#emptySince > hours(3)) this.#refillAt = evening;
    } else if (keeper.refillsBelow === "told") {
      this.#refillAt = evening; // if asked by then
    } else if (this.#total() < keeper.refillsBelow * food.capacityGrams) {
      this.#refillAt = evening;
    }
  }

  #keeperUntil(to: Instant): void {
    if (this.#refillAt === null || this.#refillAt > to) return;
    const { keeper, food, sensors } = this.#plot;
    const chance = this.#chance;
    const at = this.#refillAt;
    this.#refillAt = null;
    if (keeper.refillsBelow === "told" && !this.#phone.asksForFood) return;
    const share = Math.min(1, keeper.refillShare * chance.between(0.85, 1.15));
    const room = food.capacityGrams - this.#total();
    const added = room * share;
    this.#store.hopperGrams += added;
    this.#emptySince = null;
    if (sensors.scale && !chance.isTrueWith(keeper.tells)) return;
    const full = share > 0.96;
    const grams = Math.round(added * chance.normal(1, 0.02));
    if (chance.isTrueWith(0.5)) {
      // By the feeder's own button, or by the phone, sooner or later.
      this.#write({ kind: "refill", ...(full ? { full: true } : { grams }) }, at);
      return;
    }
    const told = after(to, Math.round(chance.between(0, 20) * 60_000) as Span);
    const refill = full ? { filled: true as const } : { grams };
    this.#told.push({ at: told, line: { kind: "keeper", feeder: feederName, at: told, act: { refill } } });
  }

  #tellLevel(soon: Span): void {
    const { food } = this.#plot;
    const levelGrams = Math.round(food.startGrams * this.#chance.normal(1, 0.02));
    const at = after(this.#now, soon);
    const act = { refill: { levelGrams: Math.max(0, levelGrams) } };
    this.#told.push({ at, line: { kind: "keeper", feeder: feederName, at, act } });
  }

  // --- talking ---------------------------------------------------------------------------------------------------------

  #write(words: { readonly kind: string } & Record<string, unknown>, at: Instant): number {
    this.#seq += 1;
    this.#spool.push({ seq: this.#seq, uptimeMs: Math.max(0, Math.round(at - this.#bootedAt)), ...words });
    return this.#seq;
  }

  /** Null where it is lost on the way; then its events come with the next. */
  #report(at: Instant): LogLine | null {
    const { line, sensors, thermometer, reportEverySeconds, place } = this.#plot;
    const chance = this.#chance;
    const fault = this.#fault(at);
    if (at > this.#burstUntil && chance.isTrueWith((line.burstsPerDay * reportEverySeconds) / 86_400))
      this.#burstUntil = after(at, Math.round(-Math.log(1 - chance.uniform()) * line.burstMinutes * 60_000) as Span);
    const reading = sensors.scale && fault !== "scaleDead" ? this.#weigh(fault) : null;
    const lost =
      fault === "silent" ||
      fault === "lineDown" ||
      fault === "powerCut" ||
      chance.isTrueWith(line.lost) ||
      at < this.#burstUntil ||
      (at >= this.#deafFrom && at < this.#deafUntil);
    if (lost) return null;
    this.#climateAt = fault === "thermometerStuck" ? (this.#climateAt ?? at) : null;
    const climate = climateAt(this.#sky, place, this.#climateAt ?? at);
    const shaken = fault === "thermometerStuck" ? 0 : 1; // one that stands still stands still to the last digit
    // What was done a second ago may not have been written yet.
    const sentUptimeMs = Math.round(at - this.#bootedAt) + 5_000;
    const events = this.#spool.slice(0, 2_000);
    this.#spool = this.#spool.slice(2_000);
    const { button, detector, chute, perch } = this.#counts;
    const said = readReport({
      boot: `b-${this.#boot}`,
      sentUptimeMs,
      readings: {
        ...(reading === null ? {} : { hopperGrams: reading }),
        airCelsius: rounded(climate.airCelsius + shaken * chance.normal(0, 0.05), 2),
        ...(thermometer
          ? {
              insideCelsius: rounded(climate.insideCelsius + shaken * chance.normal(0, 0.05), 2),
              lidCelsius: rounded(climate.lidCelsius + shaken * chance.normal(0, 0.05), 2),
              humidityPercent: rounded(Math.min(100, climate.humidityPercent + shaken * chance.normal(0, 0.5)), 1),
            }
          : {}),
        supplyVolts: rounded(chance.normal(5.06, 0.01), 2),
        signalDbm: Math.round(chance.normal(-64, 1.5)),
        spooled: this.#spool.length,
        counts: {
          ...(sensors.button ? { button } : {}),
          ...(sensors.detector ? { detector } : {}),
          ...(sensors.chute ? { chute } : {}),
          ...(sensors.perch ? { perch } : {}),
        },
        paused: false,
      },
      events,
    });
    if (said.kind !== "read") throw new Error(`expected a readable report, got ${JSON.stringify(said.errors)}`);
    const received = after(at, Math.round(chance.between(0, 1_500)) as Span);
    return { kind: "report", feeder: feederName, at: received, report: said.report };
  }

  #weigh(fault: Disturbance | null): number {
    const shown = this.#cell.read(this.#total());
    if (fault !== "scaleStuck") {
      this.#stuckGrams = null;
      return shown;
    }
    this.#stuckGrams ??= shown;
    return rounded(this.#stuckGrams + this.#chance.normal(0, 0.3), 1);
  }
}

const rounded = (value: number, decimals: number): number => Math.round(value * 10 ** decimals) / 10 ** decimals;
