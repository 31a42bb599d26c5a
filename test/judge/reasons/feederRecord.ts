import type { PostedEvent, PostedReport } from "../../../server/contract/readReport.ts";
import { after, type Instant, later, type Span } from "../../../server/domain/instant.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { WorldSensors } from "../../worlds/world.ts";
import type { BirdSensor, ReadSensor, Sensor } from "./claims.ts";

/**
 * What one feeder has sent, by the protocol and nothing else: it uses no rule of the domain, so that it can't repeat a mistake of the
 * code whose words it is held against.
 */
export class FeederRecord {
  readonly #sensors: WorldSensors;
  readonly #seen = new Set<Sensor>();
  readonly #known = new Set<string>(); // events, by boot and seq
  readonly #anchors = new Map<string, { readonly at: Instant; readonly uptime: Span }>();
  /** Whole runs of the motor, in the feeder's order; one that arrives late is left out. */
  readonly portions: RecordedPortion[] = [];
  readonly weights: Weight[] = [];
  readonly lastSignalAt = new Map<BirdSensor, Instant>();
  readonly lastReadAt = new Map<Sensor, Instant>();
  readonly readings = new Map<ReadSensor, number>();
  newPortions = 0; // in the newest report
  reportsWithoutWeight = 0; // in a row
  refilledAt: Instant | null = null;
  lastReportAt: Instant | null = null;
  now = 0 as Instant;

  constructor(sensors: WorldSensors) {
    this.#sensors = sensors;
  }

  take(line: LogLine): void {
    this.now = line.at;
    this.newPortions = 0;
    if (line.kind === "report") this.#takeReport(line.report, line.at);
    if (line.kind === "keeper" && line.act.refill !== undefined) this.refilledAt = line.at;
  }

  /** Whether the feeder has ever sent something of this sensor. */
  has(sensor: Sensor): boolean {
    if (sensor === "motorCurrent") return this.#sensors.motorCurrent && this.#seen.has("motorCurrent");
    if (sensor === "portions") return this.#sensors.portionEvents;
    if (sensor === "level") return true; // the server's own estimate
    return sensor in this.#sensors ? this.#sensors[sensor as keyof WorldSensors] : this.#seen.has(sensor);
  }

  #takeReport({ boot, sentUptime, readings, events }: PostedReport, at: Instant): void {
    this.lastReportAt = at;
    if (sentUptime !== null) this.#anchors.set(boot, { at, uptime: sentUptime });
    for (const event of events) {
      if (this.#known.has(`${boot} ${event.seq}`)) continue;
      this.#known.add(`${boot} ${event.seq}`);
      this.#takeEvent(event, this.#timeOf(boot, event.uptime));
    }
    for (const sensor of readSensors) {
      const value = readings[sensor];
      if (value === null) continue;
      this.#see(sensor, at);
      this.readings.set(sensor, value);
    }
    if (readings.hopper === null) this.reportsWithoutWeight += 1;
    else {
      this.#see("scale", at);
      this.weights.push({ at, grams: readings.hopper, portions: this.portions.length });
      this.reportsWithoutWeight = 0;
    }
  }

  /** By the boot's newest report; null where none has come. */
  #timeOf(boot: string, uptime: Span): Instant | null {
    const anchor = this.#anchors.get(boot);
    return anchor === undefined ? null : after(anchor.at, (uptime - anchor.uptime) as Span);
  }

  #takeEvent({ content }: PostedEvent, at: Instant | null): void {
    if (content.kind === "portion") {
      if (content.lowestSupply !== null) this.#seen.add("supply");
      if (content.meanCurrent !== null) this.#seen.add("motorCurrent");
      if (content.cutShort === true || content.motorRan === 0 || at === null) return;
      if (at < (this.portions.at(-1)?.at ?? at)) return;
      this.portions.push({ at, pieces: content.chuteCount, milliamps: content.meanCurrent });
      this.newPortions += 1;
    }
    if (content.kind === "deposit" && content.chute !== null) this.#seen.add("slotBeam");
    if (content.kind === "refill") this.refilledAt = at ?? this.now;
    const sensor = content.kind === "deposit" && content.metal === false ? null : signalOf[content.kind];
    if (sensor == null || at === null) return;
    this.lastSignalAt.set(sensor, later(at, this.lastSignalAt.get(sensor) ?? at));
  }

  #see(sensor: Sensor, at: Instant): void {
    this.#seen.add(sensor);
    this.lastReadAt.set(sensor, at);
  }
}

export interface RecordedPortion {
  readonly at: Instant;
  readonly pieces: number | null; // that the chute sensor counted
  readonly milliamps: number | null;
}

export interface Weight {
  readonly at: Instant;
  readonly grams: number;
  readonly portions: number; // given so far
}

const signalOf: Readonly<Record<string, BirdSensor>> = { press: "button", deposit: "detector", visit: "perch" };
const readSensors: readonly ReadSensor[] = [
  "air",
  "inside",
  "lid",
  "humidity",
  "supply",
  "battery",
  "batteryTemperature",
  "charge",
  "signalDbm",
];
