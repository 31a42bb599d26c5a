import { nextCheckAt } from "../../../server/domain/advanceFeeder.ts";
import type { Fact } from "../../../server/domain/facts.ts";
import { type FeederState, newFeeder } from "../../../server/domain/feeder.ts";
import { initialRollups } from "../../../server/domain/history/rollups.ts";
import { type Instant, seconds } from "../../../server/domain/instant.ts";
import type { AlarmEvent } from "../../../server/domain/notification/escalation.ts";
import { applyFact, type FeederUpdate, startUpdate } from "../../../server/flows/pure/feederUpdate.ts";
import { factOf } from "../../../server/flows/pure/logEntry.ts";
import { withLoggedSettings } from "../../../server/flows/pure/loggedSettings.ts";
import { defaultSettings } from "../../../server/flows/pure/requestedSettings.ts";
import { takeReport } from "../../../server/flows/pure/takeReport.ts";
import type { LogLine } from "../../../server/replay/logLine.ts";
import type { SimulatedMoment } from "../../simulator/moment.ts";
import type { Plot } from "../../simulator/plot.ts";
import { type KeeperPhone, PlotSimulation } from "../../simulator/simulatePlot.ts";
import type { Incident } from "./incidents.ts";

/** One feeder of the yard: what it truly is, and what the server's own steps make of its reports. */
export class WatchedFeeder {
  readonly id: string;
  readonly plot: Plot;
  readonly phone: KeeperPhone & { asksForFood: boolean } = { asksForFood: false };
  readonly living: PlotSimulation;
  state: FeederState;
  lastHeardAt: Instant | null = null;
  lookAt: Instant;
  /** What is wrong with it alone. */
  broken: Incident | null = null;
  /** Somebody means to refill it, and hasn't yet. */
  foodPromised = false;
  tripPlanned = false;
  /** Moments that come with the report that is due, so that feeders of one yard report in time order. */
  #gramsBefore = 0;

  constructor(name: string, plot: Plot) {
    this.id = name.toLowerCase();
    this.plot = plot;
    this.living = new PlotSimulation(plot, this.phone);
    const { line } = this.living.begin();
    if (line.kind !== "settings")
      throw new TypeError(`expected a feeder that begins with its settings, got ${line.kind}`);
    const usual = defaultSettings({ practice: false, place: plot.place, zone: "Europe/Stockholm" }, name);
    this.state = newFeeder({ ...withLoggedSettings(usual, line.settings), name }, plot.from);
    this.lookAt = patrolFrom(plot.from);
  }

  /** What it reports up to `at`, in order; empty where nothing of it arrives. */
  lines(at: Instant): readonly SimulatedMoment[] {
    this.#gramsBefore = this.living.truth().grams;
    return [...this.living.until(at)];
  }

  get wasRefilled(): boolean {
    return this.living.truth().grams > this.#gramsBefore + 0.02 * this.plot.food.capacityGrams;
  }

  /** @returns what its alarms have to say about it */
  take(line: LogLine): readonly AlarmEvent[] {
    const before = this.#beginning();
    if (line.kind === "report") {
      const taken = takeReport(before, line.report, line.report.events, line.at);
      return this.#keep(taken.feeder, line.at);
    }
    if (line.kind === "keeper") return this.learn(factOf({ keeper: line.act }, line.at, this.state.settings), line.at);
    throw new TypeError(`expected a report or a keeper's act, got ${line.kind}`);
  }

  learn(fact: Fact, at: Instant): readonly AlarmEvent[] {
    return this.#keep(applyFact(this.#beginning(), fact, at), at);
  }

  #beginning(): FeederUpdate {
    const { id, state, lastHeardAt } = this;
    const rollups = initialRollups(); // nobody looks at them here
    return startUpdate({ id, yard: "", revision: 0, state, rollups, lastReportAt: lastHeardAt, lastStepAt: null });
  }

  #keep({ state, effects, lastReportAt }: FeederUpdate, at: Instant): readonly AlarmEvent[] {
    this.state = state;
    this.lastHeardAt = lastReportAt;
    this.lookAt = patrolFrom(nextCheckAt(state, at));
    return effects.flatMap((effect) => (effect.kind === "alarmEvent" ? [effect.event] : []));
  }
}

/** The server's periodic check runs three times a minute. */
const lookEvery = seconds(20);
const patrolFrom = (at: Instant): Instant => (Math.ceil(at / lookEvery) * lookEvery) as Instant;
