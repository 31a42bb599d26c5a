import { type PostedReport, readReport } from "../../../server/contract/readReport.ts";
import type { Story } from "../world.ts";
import type { Hopper } from "./hopper.ts";
import type { Line } from "./line.ts";
import type { FeederParts, Program } from "./program.ts";
import type { Random } from "./random.ts";
import type { RoofLoad } from "./roofLoad.ts";
import type { Load, Scale } from "./scale.ts";
import type { SentReadings } from "./sentReadings.ts";
import type { Batch } from "./spool.ts";
import { sunAltitude } from "./sun.ts";
import type { Thermometers } from "./thermometers.ts";
import { second } from "./time.ts";

/** Puts the readings and the waiting events into a report each half, one or five minutes, and sends it over the line. */
export interface ReporterParts extends FeederParts {
  readonly program: Program;
  readonly hopper: Hopper;
  readonly scale: Scale;
  readonly thermometers: Thermometers;
  readonly roof: RoofLoad;
  readonly line: Line;
  /** What else bears on the scale now, in grams. */
  readonly touching: { birds: number; hands: number };
  readonly receive: (report: PostedReport) => void; // at the server, when it arrives
}

export class Reporter {
  private readonly random: Random;
  private readonly parts: ReporterParts;
  private readonly span: number;
  private readonly clockRate: number; // a board's timer is some millionths off, and each round takes some time
  private readonly states: { [Name in "counts" | "spooled" | "paused" | "signal" | "noEvents"]: boolean };
  private readonly signalDbm: number;
  private weatherCountedAt: number;

  constructor(random: Random, story: Story, parts: ReporterParts) {
    this.random = random;
    this.parts = parts;
    this.span = story.reportEverySeconds * second;
    this.clockRate = 1 + 0.001 * random.next();
    this.states = {
      counts: random.chance(0.5),
      spooled: random.chance(0.4),
      paused: random.chance(0.3),
      signal: random.chance(0.6),
      noEvents: random.chance(0.5), // states an empty list
    };
    this.signalDbm = random.between(-112, -75);
    this.weatherCountedAt = parts.agenda.now;
  }

  /** The first report after a start comes within seconds. */
  begin(): void {
    this.weatherCountedAt = this.parts.agenda.now;
    this.parts.program.later(this.random.between(1 * second, 15 * second), () => this.reportAndPlan());
  }

  private reportAndPlan(): void {
    const { spool, program } = this.parts;
    const left = spool.nextLeftBehind();
    if (left !== null) this.post({ boot: left.boot, sentUptimeMs: null, events: left.events }, left);
    const batch = spool.next();
    const { boot, events } = batch;
    const sentUptimeMs = spool.uptimeAt(this.parts.agenda.now);
    const readings = this.readings();
    const hasList = events.length > 0 || this.states.noEvents;
    this.post(hasList ? { boot, sentUptimeMs, readings, events } : { boot, sentUptimeMs, readings }, batch);
    program.later(this.span * this.clockRate, () => this.reportAndPlan());
  }

  private post(body: object, batch: Batch): void {
    const { agenda, line, spool, receive } = this.parts;
    const { arrivesAt, isAnswered } = line.send(agenda.now);
    if (arrivesAt === null) return;
    agenda.plan(arrivesAt, () => {
      if (isAnswered) spool.confirm(batch);
      const read = readReport(body);
      if (read.kind === "unreadable")
        throw new Error(`expected a report that can be read, got ${JSON.stringify(body)}`);
      receive(read.report);
    });
  }

  private readings(): SentReadings {
    const { agenda, place, weather, thermometers, supply, spool, sensors } = this.parts;
    const { states } = this;
    const { now } = agenda;
    const sky = weather.at(now);
    const sunDegrees = sunAltitude(now, place);
    const readings: SentReadings = {};
    if (sensors.scale) this.weigh(readings, now);
    thermometers.addReadings(readings, sky, sunDegrees);
    supply.addReadings(readings, now, sky.air + 2, sunDegrees);
    if (states.signal) readings.signalDbm = Math.round(this.signalDbm + 2.5 * this.random.normal());
    if (states.spooled) readings.spooled = spool.waiting;
    this.countWeather(now);
    if (states.counts) readings.counts = this.counts();
    if (states.paused) readings.paused = false;
    return readings;
  }

  private countWeather(now: number): void {
    const { chute, weather } = this.parts;
    chute.countWeather((now - this.weatherCountedAt) / 1_000, weather.at(now), now);
    this.weatherCountedAt = now;
  }

  private weigh(readings: SentReadings, now: number): void {
    const { scale, hopper, roof, touching, weather } = this.parts;
    const load: Load = { food: hopper.total, roof: roof.grams, birds: touching.birds, hands: touching.hands };
    const hopperGrams = scale.read(now, load, weather.at(now));
    if (hopperGrams !== undefined) readings.hopperGrams = hopperGrams;
  }

  private counts(): NonNullable<SentReadings["counts"]> {
    const { sensors, program, chute } = this.parts;
    const counts: SentReadings["counts"] = {};
    if (sensors.button) counts.button = program.totals.button;
    if (sensors.detector) counts.detector = program.totals.detector;
    if (sensors.chute) counts.chute = chute.total;
    if (sensors.perch) counts.perch = program.totals.perch;
    return counts;
  }
}
