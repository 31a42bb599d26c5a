import type { LoggedSettings } from "../../server/contract/feederLog.ts";
import { readReport } from "../../server/contract/readReport.ts";
import { after, days, hours, type Instant, minutes, type Span, seconds } from "../../server/domain/instant.ts";
import { Appetite, type Landing, poisson, simulateLandings } from "../../server/practice/model/birdDay.ts";
import { advanceLoadCell, initialLoadCell, type LoadCell } from "../../server/practice/model/loadCell.ts";
import { detectorSignal, rounded } from "../../server/practice/model/sensors.ts";
import { Spool } from "../../server/practice/model/spool.ts";
import { type FoodStore, foodStore } from "../../server/practice/model/tray.ts";
import { humidClimate, type Weather, weatherAt } from "../../server/practice/model/weather.ts";
import { type RandomSource, seededRandom } from "../../server/practice/random.ts";
import type { LogLine } from "../../server/replay/logLine.ts";
import { Chatter, showsFault, turnPlotTray } from "./brokenParts.ts";
import type { PlotObserver, SimulatedMoment, TrueLanding, TruePortion, TrueState } from "./moment.ts";
import type { Disturbance, PlantedFaultKind, Plot } from "./plot.ts";
import { readPlotCell, readPlotSensors } from "./plotSensors.ts";
import { beginBurst, initialUplink, isLost, planOutage, type Uplink } from "./uplink.ts";

/** What the keeper reads on the phone, and what is broken for a while: set by the caller. */
export interface KeeperPhone {
  asksForFood: boolean;
  /** Broken just now, besides what the plot planted. Left out or null: nothing. */
  mishap?: Disturbance | null;
}

export const feederName = "rowan";

/** What the keeper enters about the feeder at the beginning. */
const settingsOf = (plot: Plot): LoggedSettings => ({
  name: "Rowan",
  zone: "Europe/Stockholm",
  place: plot.place,
  sensors: plot.sensors,
  hopperCapacityGrams: plot.food.capacityGrams,
  portionGrams: plot.food.reportedPortionGrams,
  reportEverySeconds: plot.reportEverySeconds,
  battery: "none",
});

/**
 * Simulates a plot and yields it as a feeder's log, line by line, with the truth beside each. The same plot gives the same
 * lines. Lines are what a server would take, so that the evaluation uses the very steps that the server takes.
 */
export function* simulatePlot(
  plot: Plot,
  phone: KeeperPhone = { asksForFood: false },
  observer?: PlotObserver,
): Generator<SimulatedMoment> {
  const feeder = new PlotSimulation(plot, phone, observer);
  yield feeder.begin();
  const every = seconds(plot.reportEverySeconds);
  const end = after(plot.from, days(plot.days));
  for (let at = after(plot.from, every); at <= end; at = after(at, every)) {
    yield* feeder.until(at);
  }
}

interface SimulatedEvent {
  readonly seq: number;
  readonly uptimeMs: number;
  readonly kind: string;
}

/** One feeder, step by step: for a caller that simulates several side by side, where a silent one must not run ahead. */
export class PlotSimulation {
  readonly #plot: Plot;
  readonly #weatherSeed: number;
  readonly #random: RandomSource;
  readonly #phone: KeeperPhone;
  readonly #observer: PlotObserver | undefined;
  readonly #appetite = new Appetite();
  readonly #chatter: Chatter;
  #cell: LoadCell;
  #store: FoodStore;
  #uplink: Uplink;
  #now: Instant;
  #bootedAt: Instant;
  #boot = 1;
  #seq = 0;
  #spool = new Spool<SimulatedEvent>([]);
  #counts = { button: 0, detector: 0, chute: 0, perch: 0 };
  #landingsToday: Landing[] = [];
  #timers: Instant[] = [];
  #dayEnds: Instant;
  #meanPortionGrams: number;
  #emptySince: Instant | null = null;
  #refillAt: Instant | null = null;
  #keeperLines: { readonly at: Instant; readonly line: LogLine }[] = []; // what the keeper enters, later
  #stuckGrams: number | null = null;
  #thermometerStuckAt: Instant | null = null;
  #hadPowerCut = false;
  #truth = { portions: 0, unfed: 0, landings: 0 };
  #portions: TruePortion[] = [];
  #landings: TrueLanding[] = [];

  constructor(plot: Plot, phone: KeeperPhone, observer?: PlotObserver) {
    const { food } = plot;
    const random = seededRandom(plot.seed * 2 + 1);
    this.#phone = phone;
    this.#observer = observer;
    this.#chatter = new Chatter(plot.seed);
    this.#plot = plot;
    this.#weatherSeed = plot.weatherSeed ?? plot.seed;
    this.#random = random;
    this.#cell = initialLoadCell(random.between(5, 20)); // tared at the kitchen table or in October's garden
    this.#meanPortionGrams = food.portionGrams;
    this.#store = foodStore(food.startGrams, food, food.portionGrams);
    this.#now = plot.from;
    this.#bootedAt = plot.from;
    this.#dayEnds = plot.from;
    this.#uplink = initialUplink(plot.from);
    // A keeper without a scale enters how much is in it, or nothing could be known.
    if (!plot.sensors.scale) this.#enterLevel(minutes(2));
  }

  begin(): SimulatedMoment {
    return this.#moment({
      kind: "settings",
      feeder: feederName,
      at: this.#plot.from,
      settings: settingsOf(this.#plot),
    });
  }

  #moment(line: LogLine): SimulatedMoment {
    if (line.kind !== "report") return { line, portions: [], landings: [], truth: this.truth() };
    const [portions, landings] = [this.#portions, this.#landings];
    [this.#portions, this.#landings] = [[], []];
    return { line, portions, landings, truth: this.truth() };
  }

  truth(): TrueState {
    const { portions, unfed, landings } = this.#truth;
    return {
      at: this.#now,
      grams: this.#totalGrams(),
      portionGrams: this.#meanPortionGrams,
      emptySince: this.#emptySince,
      fault: this.#plantedFault(this.#now),
      portions,
      unfed,
      landings,
    };
  }

  /** All that happens up to `at`, when the next report is due. */
  *until(at: Instant): Generator<SimulatedMoment> {
    while (this.#now >= this.#dayEnds) this.#beginDay();
    if (this.#hadPowerCut && this.#phone.mishap !== "powerCut") this.#reboot(this.#now);
    this.#hadPowerCut = this.#phone.mishap === "powerCut";
    const span = (at - this.#now) as Span;
    this.#advanceBirds(at);
    this.#refillIfDue(at);
    const surroundings = { span, weather: this.#weather(at), loadGrams: this.#totalGrams() };
    this.#cell = advanceLoadCell(this.#cell, this.#plot.cell, surroundings, this.#random);
    this.#now = at;
    while (this.#keeperLines[0] !== undefined && this.#keeperLines[0].at <= at) {
      const next = this.#keeperLines.shift();
      if (next) yield this.#moment({ ...next.line, at });
    }
    const line = this.#report(at);
    if (line) yield this.#moment(line);
  }

  #totalGrams = (): number => this.#store.hopperGrams + this.#store.trayGrams;

  #weather = (at: Instant): Weather => weatherAt(this.#weatherSeed, this.#plot.place, at, humidClimate);

  #plantedFault(at: Instant): PlantedFaultKind | null {
    const { fault } = this.#plot;
    return fault !== null && at >= fault.at ? fault.kind : null;
  }

  #fault = (at: Instant): Disturbance | null => this.#phone.mishap ?? this.#plantedFault(at);

  // --- a day -----------------------------------------------------------------------------------------------------------

  #beginDay(): void {
    const { birds, food, line, place } = this.#plot;
    const from = this.#dayEnds;
    this.#dayEnds = after(from, days(1));
    const random = this.#random;
    const appetite = this.#appetite.next(birds, random);
    this.#landingsToday = simulateLandings({ birds, place, seed: this.#weatherSeed, from, appetite }, random);
    this.#timers = [];
    for (let timer = 0; timer < birds.timerPerDay; timer += 1)
      this.#timers.push(after(from, Math.round(random.between(7, 15) * 3_600_000) as Span));
    this.#timers.sort((a, b) => a - b);
    // The mean portion wanders with the food and the weather, and comes back.
    const off = Math.log(this.#meanPortionGrams / food.portionGrams);
    this.#meanPortionGrams = food.portionGrams * Math.exp(0.8 * off + 0.6 * random.normal(0, food.portionWander));
    this.#uplink = planOutage(this.#uplink, line, from, random);
    if (poisson(line.rebootsPerMonth / 30, random) > 0) this.#reboot(from);
    this.#planRefill(from);
  }

  #reboot(at: Instant): void {
    this.#boot += 1;
    this.#bootedAt = at;
    this.#seq = 0;
    this.#portions = [];
    this.#landings = [];
    this.#spool = new Spool([]); // sent before, or lost: this simple feeder keeps nothing over a restart
    this.#counts = { button: 0, detector: 0, chute: 0, perch: 0 };
  }

  // --- birds and motor -------------------------------------------------------------------------------------------------

  #advanceBirds(to: Instant): void {
    if (this.#plot.sensors.button && this.#fault(to) === "buttonChatters") {
      for (const contact of this.#chatter.contacts(this.#now, to))
        if (this.#fault(contact) === "buttonChatters") this.#press(contact, this.#chatter.pays(contact));
    }
    while (this.#timers[0] !== undefined && this.#timers[0] <= to)
      this.#givePortion("timer", null, this.#timers.shift() ?? to);
    while (this.#landingsToday[0] !== undefined && this.#landingsToday[0].at <= to) {
      const landing = this.#landingsToday.shift();
      if (landing) this.#land(landing);
    }
  }

  #land({ at, actions }: Landing): void {
    const { sensors } = this.#plot;
    // Birds that found nothing come less often.
    if (this.#emptySince !== null && this.#random.isTrueWith(0.4)) return;
    this.#truth.landings += 1;
    this.#observer?.landed(at);
    const fault = this.#fault(at);
    if (fault === "powerCut") return;
    if (sensors.perch && fault !== "perchDead") {
      this.#counts.perch += 1;
      this.#record({ kind: "visit" }, at);
    }
    const buttonWorks = sensors.button && fault !== "buttonDead";
    const detectorWorks = sensors.detector && fault !== "detectorDead";
    const pressed = buttonWorks && actions.includes("press");
    const deposited = detectorWorks && fault !== "detectorDeaf" && actions.includes("deposit");
    this.#landings.push({ pressed, deposited, broken: fault !== null });
    let actionAt = at;
    for (const action of actions) {
      actionAt = after(actionAt, seconds(2));
      if (action === "press" && buttonWorks) this.#press(actionAt);
      if (action === "deposit" && detectorWorks) this.#deposit(actionAt);
    }
  }

  #press(at: Instant, isPaid = true): void {
    this.#counts.button += 1;
    const seq = this.#record({ kind: "press" }, at);
    if (isPaid) this.#givePortion("press", seq, at);
  }

  #deposit(at: Instant): void {
    const beam = this.#plot.sensors.chute ? { chute: true } : {};
    if (this.#fault(at) === "detectorDeaf") {
      const signal = this.#random.between(0, 0.1);
      if (beam.chute) this.#record({ kind: "deposit", metal: false, signal, ...beam }, at);
      return;
    }
    this.#counts.detector += 1;
    const signal = detectorSignal(0.05, this.#random);
    this.#givePortion("deposit", this.#record({ kind: "deposit", metal: true, signal, ...beam }, at), at);
  }

  #givePortion(cause: string, paysFor: number | null, requestedAt: Instant): void {
    const { sensors, currentMeasured, portionsReported: portionsTold } = this.#plot;
    const at = after(requestedAt, seconds(1));
    const fault = this.#fault(at);
    if (fault === "powerCut") return;
    const { insideCelsius } = this.#weather(requestedAt);
    const faultAge = (at - (this.#plot.fault?.at ?? at)) as Span;
    const conditions = { fault, faultAge, portionGrams: this.#meanPortionGrams, insideCelsius };
    const { store, portion } = turnPlotTray(this.#plot, this.#store, conditions, this.#random);
    this.#store = store;
    this.#observer?.ran(at, portion);
    this.#truth.portions += 1;
    const emptied = portion.pieces === 0 && this.#totalGrams() < 0.5 * this.#meanPortionGrams;
    if (emptied) this.#emptySince ??= at;
    if (this.#truth.unfed > 0 || showsFault(fault, emptied, portion.pieces)) this.#truth.unfed += 1;
    this.#portions.push({ ...portion, insideCelsius, unfed: this.#truth.unfed });
    this.#counts.chute += sensors.chute ? portion.seen : 0;
    if (!portionsTold) return;
    this.#record(
      {
        kind: "portion",
        cause,
        ...(paysFor === null ? {} : { paysFor }),
        motorMs: 900,
        ...(currentMeasured ? { meanMilliamps: Math.round(10 * portion.milliamps) / 10 } : {}),
        ...(sensors.chute ? { chuteCount: portion.seen } : {}),
      },
      at,
    );
  }

  // --- keeper ----------------------------------------------------------------------------------------------------------

  #planRefill(day: Instant): void {
    const { keeper, food } = this.#plot;
    if (this.#plantedFault(day) === "hopperEmpty") return; // that is how it came to be
    const evening = after(day, Math.round(this.#random.between(15, 19) * 3_600_000) as Span);
    if (keeper.refillsBelow === "ranOut") {
      if (this.#emptySince !== null && day - this.#emptySince > hours(3)) this.#refillAt = evening;
    } else if (keeper.refillsBelow === "whenNotified") {
      this.#refillAt = evening; // if the phone asks for it by then
    } else if (this.#totalGrams() < keeper.refillsBelow * food.capacityGrams) {
      this.#refillAt = evening;
    }
  }

  #refillIfDue(to: Instant): void {
    if (this.#refillAt === null || this.#refillAt > to) return;
    const { keeper, food, sensors } = this.#plot;
    const random = this.#random;
    const at = this.#refillAt;
    this.#refillAt = null;
    if (this.#plantedFault(at) === "hopperEmpty") return;
    if (keeper.refillsBelow === "whenNotified" && !this.#phone.asksForFood) return;
    const share = Math.min(1, keeper.refillShare * random.between(0.85, 1.15));
    const added = (food.capacityGrams - this.#totalGrams()) * share;
    this.#store = { ...this.#store, hopperGrams: this.#store.hopperGrams + added };
    this.#emptySince = null;
    if (sensors.scale && !random.isTrueWith(keeper.reportsRefill)) return;
    const full = share > 0.96;
    const grams = Math.round(added * random.normal(1, 0.02));
    if (random.isTrueWith(0.5)) {
      // By the feeder's own button, or by the phone, sooner or later.
      this.#record({ kind: "refill", ...(full ? { full: true } : { grams }) }, at);
      return;
    }
    const enteredAt = after(to, Math.round(random.between(0, 20) * 60_000) as Span);
    this.#enterRefill(full ? { filled: true as const } : { grams }, enteredAt);
  }

  #enterLevel(soon: Span): void {
    const levelGrams = Math.round(this.#plot.food.startGrams * this.#random.normal(1, 0.02));
    this.#enterRefill({ levelGrams: Math.max(0, levelGrams) }, after(this.#now, soon));
  }

  #enterRefill(refill: { filled: true } | { grams: number } | { levelGrams: number }, at: Instant): void {
    this.#keeperLines.push({ at, line: { kind: "keeper", feeder: feederName, at, act: { refill } } });
  }

  // --- reports ---------------------------------------------------------------------------------------------------------

  #record(event: { readonly kind: string } & Record<string, unknown>, at: Instant): number {
    const seq = ++this.#seq;
    this.#spool.add(`b-${this.#boot}`, { seq, uptimeMs: Math.max(0, Math.round(at - this.#bootedAt)), ...event });
    return seq;
  }

  /** Null where it is lost on the way; then its events come with the next. */
  #report(at: Instant): LogLine | null {
    const { line, reportEverySeconds } = this.#plot;
    const random = this.#random;
    const fault = this.#fault(at);
    this.#uplink = beginBurst(this.#uplink, line, reportEverySeconds, at, random);
    const hopperGrams = this.#weigh(fault);
    const sent = fault !== "silent" && fault !== "lineDown" && fault !== "powerCut";
    if (!sent || isLost(this.#uplink, line, at, random)) return null;
    this.#thermometerStuckAt = fault === "thermometerStuck" ? (this.#thermometerStuckAt ?? at) : null;
    const weather = this.#weather(this.#thermometerStuckAt ?? at);
    const sensors = readPlotSensors(this.#plot, weather, this.#counts, this.#thermometerStuckAt !== null, random);
    const events = this.#takeEvents();
    const result = readReport({
      boot: `b-${this.#boot}`,
      // What was done a second ago may not have been recorded yet.
      sentUptimeMs: Math.round(at - this.#bootedAt) + 5_000,
      readings: {
        ...(hopperGrams === null ? {} : { hopperGrams }),
        ...sensors,
        spooled: this.#spool.length,
        paused: false,
      },
      events,
    });
    if (result.kind !== "read") throw new Error(`expected a readable report, got ${JSON.stringify(result.errors)}`);
    const receivedAt = after(at, Math.round(random.between(0, 1_500)) as Span);
    return { kind: "report", feeder: feederName, at: receivedAt, report: result.report };
  }

  #takeEvents(): readonly SimulatedEvent[] {
    const page = this.#spool.oldest(2_000);
    if (page !== null) this.#spool.forget(page.boot, page.events.at(-1)?.seq ?? 0);
    return page?.events ?? [];
  }

  #weigh(fault: Disturbance | null): number | null {
    const { cell, sensors } = this.#plot;
    if (!sensors.scale || fault === "scaleDead") return null;
    const shown = readPlotCell(this.#cell, cell, this.#totalGrams(), this.#random);
    if (fault !== "scaleStuck") {
      this.#stuckGrams = null;
      return shown;
    }
    this.#stuckGrams ??= shown;
    return rounded(this.#stuckGrams + this.#random.normal(0, 0.3), 1);
  }
}
