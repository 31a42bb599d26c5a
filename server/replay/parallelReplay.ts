import type { LoggedSettings } from "../contract/feederLog.ts";
import type { FieldProblem } from "../contract/fieldProblem.ts";
import type { RingRecord } from "../domain/comparison/ringRecord.ts";
import { after, type Instant, later, milliseconds } from "../domain/instant.ts";
import type { FeederUpdate } from "../flows/pure/feederUpdate.ts";
import type { LogLine } from "./logLine.ts";
import { Replay } from "./replay.ts";
import { RingCollector } from "./ringCollector.ts";

/** One way to replay a log. */
export interface ReplaySide {
  /** For feeders whose settings are not in the log. */
  readonly settings: LoggedSettings;
  /** In place of those in the log. */
  readonly override: LoggedSettings;
}

/** One log replayed in several ways at once, each line read once, to find what would have rung. */
export class ParallelReplay {
  readonly #sides: readonly { readonly replay: Replay; readonly rings: RingCollector }[];
  readonly #feeders = new Set<string>();
  #from: Instant | null = null;
  #to: Instant | null = null;
  #readingsFrom: Instant | null = null;

  constructor(sides: readonly ReplaySide[]) {
    this.#sides = sides.map(({ settings, override }) => {
      const rings = new RingCollector();
      const replay = new Replay({
        ...{ settings, override, hourly: false, checks: "whenDue", output: () => undefined },
        onStep: ({ feeder, before, effects }) => rings.add(feeder, before.alarms, effects),
      });
      return { replay, rings };
    });
  }

  /** Goes on from a stored state in place of the feeder's first line. */
  begin(feeder: string, stepped: Pick<FeederUpdate, "state" | "rollups">, at: Instant): void {
    this.#extendSpan(feeder, at);
    for (const { replay, rings } of this.#sides) {
      rings.begin(feeder, stepped.state.alarms, at);
      replay.begin(feeder, stepped, at);
    }
  }

  /** @returns the problems of a line, which then changed nothing; [] where it was taken. */
  take(line: LogLine): readonly FieldProblem[] {
    const [problems = []] = this.#sides.map(({ replay }) => replay.take(line));
    if (problems.length > 0) return problems;
    this.#extendSpan(line.feeder, line.at);
    if (line.kind === "missing" && line.what === "readings") {
      this.#readingsFrom = later(line.until, this.#readingsFrom ?? line.until);
    }
    return [];
  }

  #extendSpan(feeder: string, at: Instant): void {
    this.#feeders.add(feeder);
    this.#from ??= at;
    this.#to = at;
  }

  /** What each way leads to, over [from, to); null without a line. Before `from` the log has no readings to judge. */
  result(): ReplayedRings | null {
    if (this.#from === null || this.#to === null) return null;
    return {
      from: later(this.#from, this.#readingsFrom ?? this.#from),
      to: after(this.#to, milliseconds(1)),
      readingsDropped: this.#readingsFrom !== null,
      feeders: [...this.#feeders],
      records: this.#sides.map(({ rings }) => rings.record()),
    };
  }
}

export interface ReplayedRings {
  readonly from: Instant;
  readonly to: Instant;
  readonly readingsDropped: boolean;
  readonly feeders: readonly string[];
  readonly records: readonly RingRecord[];
}
