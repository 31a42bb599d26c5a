import { compareRings, type Pair } from "../domain/comparison/compareRings.ts";
import type { RingRecord } from "../domain/comparison/ringRecord.ts";
import { newFeeder } from "../domain/feeder.ts";
import { initialRollups } from "../domain/history/rollups.ts";
import { before, days, type Instant, later } from "../domain/instant.ts";
import type { ComparedSettings, ComparisonRequest, RecordedLog, SteppedState } from "../ports.ts";
import { PackDamaged } from "../ports.ts";
import { type LogLine, readLine } from "../replay/logLine.ts";
import { ParallelReplay } from "../replay/parallelReplay.ts";
import { Replay } from "../replay/replay.ts";
import { feederLog } from "./feederLog.ts";
import { withLoggedSettings } from "./pure/loggedSettings.ts";
import { defaultSettings } from "./pure/requestedSettings.ts";

/**
 * What would have rung in a span of a feeder's own log with its present settings, and with others: as if they had been saved when the
 * span began. Until then the log is replayed once, as it was, since the detectors learn over weeks; then once for each.
 * It takes long, so the server does it in a thread (settingsComparison.ts).
 */
export async function compareSettings(log: RecordedLog, request: ComparisonRequest): Promise<ComparedSettings> {
  const { feeder, overrides } = request;
  const begin = await findBegin(log, request);
  const from = later(request.from, begin.usableFrom);
  const replay = new ForkedReplay(feeder.id, begin, overrides, from);
  let isIncomplete = false;
  for await (const text of feederLog(log, feeder, begin.step)) {
    if (!replay.take(lineOf(text))) isIncomplete = true;
  }
  return {
    ...{ from, replayedFrom: begin.at, begun: begin.kind, readingsDroppedUntil: begin.readingsDroppedUntil },
    isIncomplete,
    comparison: compareRings(replay.records(), { from, to: request.to }),
  };
}

/** One replay until the span begins, and from its state one for each side. */
class ForkedReplay {
  readonly #feeder: string;
  readonly #from: Instant;
  readonly #warmUp = new Replay({ settings: {}, hourly: false, output: () => undefined });
  readonly #sides: ParallelReplay;
  #isForked = false;

  constructor(feeder: string, { stepped, at }: Begin, overrides: ComparisonRequest["overrides"], from: Instant) {
    this.#feeder = feeder;
    this.#from = from;
    this.#sides = new ParallelReplay(overrides.map((override) => ({ settings: {}, override })));
    if (stepped !== null) this.#warmUp.begin(feeder, stepped, at);
  }

  /** @param line null: it can't be read @returns whether the line is there and was taken. */
  take(line: LogLine | null): boolean {
    if (line === null) return false;
    if (line.kind === "missing") return line.what === "readings"; // nothing is counted before their end
    if (!this.#isForked && line.at >= this.#from) this.#fork();
    return (this.#isForked ? this.#sides : this.#warmUp).take(line).length === 0;
  }

  /** Not before the first line has made the feeder. */
  #fork(): void {
    const stepped = this.#warmUp.steppedState(this.#feeder);
    if (stepped === null) return;
    this.#sides.begin(this.#feeder, stepped, this.#from);
    this.#isForked = true;
  }

  records(): Pair<RingRecord> {
    const [present = nothing, proposed = nothing] = this.#sides.result()?.records ?? [];
    return [present, proposed];
  }
}

const nothing = { rings: [], inForce: [] };

/** Null for a damaged line. */
function lineOf(text: string): LogLine | null {
  try {
    const read = readLine(text);
    return read.kind === "read" ? read.line : null;
  } catch {
    return null; // the answer says that a part could not be read
  }
}

// --- where to begin ------------------------------------------------------------------------------------------------

interface Begin {
  readonly kind: ComparedSettings["begun"];
  /** The step after which the log is read. */
  readonly step: number;
  readonly at: Instant;
  /** Null: its first line makes it. */
  readonly stepped: SteppedState | null;
  /** From when on the log has readings. */
  readonly usableFrom: Instant;
  readonly readingsDroppedUntil: Instant | null;
}

/** The slowest of what is learnt, the usual week and the scale's slope, is known after some weeks. Our choice. */
const warmUpMax = days(60);

/**
 * With the first line, or with the state at the end of the thinned log. Other stored states are of the last hours only. A log that
 * goes back much further is begun in the middle, with a feeder about which nothing is known.
 */
async function findBegin(log: RecordedLog, { feeder, settings, from }: ComparisonRequest): Promise<Begin> {
  const earliest = before(from, warmUpMax);
  const thinned = await log.thinnedUntil(feeder.id);
  const common = { readingsDroppedUntil: thinned, usableFrom: later(feeder.addedAt, thinned ?? feeder.addedAt) };
  if (thinned === null && feeder.addedAt >= earliest) {
    return { ...common, kind: "firstLine", step: -1, at: feeder.addedAt, stepped: null };
  }
  const stored = thinned === null ? null : await log.thinnedState(feeder.id);
  if (stored !== null && thinned !== null && stored.at >= later(thinned, earliest)) {
    return { ...common, ...stored, kind: "storedState" };
  }
  const at = later(earliest, common.usableFrom);
  const step = await lastStepBefore(log, feeder, at);
  const usual = defaultSettings({ practice: false, place: null, zone: "UTC" }, "");
  const state = newFeeder(withLoggedSettings(usual, settings), at);
  return { ...common, kind: "middle", step, at, stepped: { state, rollups: initialRollups() } };
}

/** By bisection, since no index has the times of packed lines. */
async function lastStepBefore(
  log: RecordedLog,
  { id, revision }: ComparisonRequest["feeder"],
  at: Instant,
): Promise<number> {
  let [low, high] = [-1, revision]; // the first line after `low` is before `at`, or `low` is -1
  while (high - low > 1) {
    const middle = Math.floor((low + high) / 2);
    const next = await firstAfter(log, id, middle, revision);
    if (next !== null && next < at) low = middle;
    else high = middle;
  }
  return low;
}

async function firstAfter(log: RecordedLog, id: string, step: number, through: number): Promise<Instant | null> {
  try {
    return (await log.lines(id, step, through, 1))[0]?.at ?? null;
  } catch (error) {
    if (error instanceof PackDamaged) return error.lines.firstAt;
    throw error;
  }
}
