import type { FaultKind } from "../../server/domain/faults.ts";
import type { FeederState } from "../../server/domain/feeder.ts";
import { type Instant, instantOf } from "../../server/domain/instant.ts";
import { Replay } from "../../server/replay/replay.ts";
import type { SimulatedMoment } from "../simulator/moment.ts";
import type { Plot } from "../simulator/plot.ts";
import { feederName, simulatePlot } from "../simulator/simulatePlot.ts";

export interface RaisedAlarm {
  readonly fault: FaultKind;
  readonly at: Instant;
  readonly reason: string;
}

export interface HopperSample {
  readonly at: Instant;
  readonly hopper: { readonly grams: number; readonly low: number; readonly high: number } | null;
  readonly empty: { readonly p10: Instant | null; readonly p50: Instant | null; readonly p90: Instant | null };
}

export interface PlotObserver {
  /** Each line of the log after it was taken, with what was raised by it and stated of the hopper before it. */
  onMoment?: (moment: SimulatedMoment, raised: readonly RaisedAlarm[], state: FeederState) => "stop" | undefined;
  onHopper?: (sample: HopperSample, truthBefore: SimulatedMoment["truth"]) => void;
}

/** Simulates a plot with the server's own steps, exactly as replay does. */
export function runPlot(plot: Plot, { onMoment, onHopper }: PlotObserver): void {
  let lines: OutputLine[] = [];
  const replay = new Replay({ settings: {}, hourly: true, output: (line) => lines.push(line as OutputLine) });
  let before: SimulatedMoment["truth"] | null = null;
  for (const moment of simulatePlot(plot)) {
    lines = [];
    const problems = replay.take(moment.line);
    if (problems.length > 0) throw new Error(`seed ${plot.seed}: ${JSON.stringify(problems)}`);
    const raised: RaisedAlarm[] = [];
    for (const line of lines) {
      if ("alarm" in line) {
        if (line.state === "unacknowledged")
          raised.push({ fault: line.alarm, at: instantOf(line.at), reason: line.reason });
      } else if (before !== null) onHopper?.(hopperOf(line), before);
    }
    const state = replay.stateOf(feederName);
    if (state !== null && onMoment?.(moment, raised, state) === "stop") return;
    before = moment.truth;
  }
}

type OutputLine =
  | { at: string; alarm: FaultKind; state: string; reason: string }
  | { at: string; hopper: HopperSample["hopper"]; empty: Record<"p10" | "p50" | "p90", string | null> };

const hopperOf = (line: Extract<OutputLine, { hopper: unknown }>): HopperSample => {
  const moment = (at: string | null) => (at === null ? null : instantOf(at));
  const { p10, p50, p90 } = line.empty;
  return {
    at: instantOf(line.at),
    hopper: line.hopper,
    empty: { p10: moment(p10), p50: moment(p50), p90: moment(p90) },
  };
};
