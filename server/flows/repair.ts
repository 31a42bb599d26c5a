import { newFeeder } from "../domain/feeder.ts";
import { initialRollups } from "../domain/history/rollups.ts";
import type { DamagedFeeder, FeederRow, Ports, SteppedState, YardRow } from "../ports.ts";
import { readLine } from "../replay/logLine.ts";
import { Replay } from "../replay/replay.ts";
import { feederLog } from "./feederLog.ts";
import { entryLine } from "./keeperActions.ts";
import { applyFact, startUpdate } from "./pure/feederUpdate.ts";
import type { KeeperFact } from "./pure/logEntry.ts";
import { nextMoment } from "./pure/nextMoment.ts";
import { defaultSettings } from "./pure/requestedSettings.ts";
import { announceUpdates, saveUpdates } from "./saveUpdates.ts";

/**
 * A feeder whose stored state is damaged is rebuilt from its log, which has every step that led to it. Meanwhile all others go
 * on: its reports are answered 503, so that it keeps its events, and its yard's page shows why.
 */

export interface RepairLog {
  warn(text: string): void;
  error(what: object, text: string): void;
}

type RepairPorts = Pick<Ports, "clock" | "store" | "liveFeed" | "outboxSignal" | "email">;

/** For the start and for each tick. A failure is logged, tried again with the next tick, and stops no other. */
export async function repairDamaged(ports: RepairPorts, log: RepairLog): Promise<void> {
  for (const feeder of await ports.store.yards.damagedFeeders()) {
    const under = repairsInProgress(ports);
    const mending = under.get(feeder.id) ?? repairFeeder(ports, feeder, log).finally(() => under.delete(feeder.id));
    under.set(feeder.id, mending);
    await mending;
  }
}

/** The same without waiting, for a caller that met a damaged feeder. */
export function scheduleRepair(ports: RepairPorts, log: RepairLog): void {
  repairDamaged(ports, log).catch((error: unknown) => {
    log.error({ err: error }, "looking for damaged feeders failed; it is tried again with the next tick");
  });
}

/** A log of years takes a while: it must not be read twice at once. */
const repairsByStore = new WeakMap<object, Map<string, Promise<void>>>();
function repairsInProgress({ store }: RepairPorts): Map<string, Promise<void>> {
  const known = repairsByStore.get(store) ?? new Map<string, Promise<void>>();
  repairsByStore.set(store, known);
  return known;
}

async function repairFeeder(ports: RepairPorts, feeder: DamagedFeeder, log: RepairLog): Promise<void> {
  const named = `${feeder.name} (${feeder.id})`;
  try {
    const yard = (await ports.store.yards.yards()).find(({ id }) => id === feeder.yard);
    if (yard === undefined) return; // it was removed meanwhile
    const { stepped, left } = await replayRecord(ports, feeder, yard);
    if (!(await storeRebuilt(ports, feeder, stepped, yard))) return;
    const but = left === 0 ? "" : ` ${left} lines of the record could not be read and are left out.`;
    log.warn(
      `The stored state of feeder ${named} was damaged: ${feeder.problem}. It is rebuilt from its log.${but} The damaged state is stored in damagedState.`,
    );
  } catch (error) {
    log.error({ err: error, feeder: feeder.id }, `the damaged state of feeder ${named} could not be rebuilt`);
  }
}

const linesAtOnce = 100; // some 40 ms of the event loop

/** The state at the end of its log, and how many lines of it could not be read. */
async function replayRecord({ store }: RepairPorts, feeder: DamagedFeeder, yard: YardRow) {
  const settings = defaultSettings({ practice: yard.practice, place: yard.place, zone: yard.zone }, feeder.name);
  const first = { state: newFeeder(settings, feeder.addedAt), rollups: initialRollups() };
  const begun: FeederRow = { ...feeder, rebuiltAt: null, ...first };
  const replay = new Replay({ settings: {}, hourly: false, output: () => undefined });
  let [lines, left] = [0, 0];
  for await (const text of feederLog(store.records, begun)) {
    if (!replayLine(replay, text)) left += 1;
    lines += 1;
    if (lines % linesAtOnce === 0) await new Promise((resolve) => setImmediate(resolve));
  }
  return { stepped: replay.steppedState(feeder.id) ?? first, left };
}

/** A damaged line loses only its own content. */
function replayLine(replay: Replay, text: string): boolean {
  try {
    const read = readLine(text);
    return read.kind === "read" && replay.take(read.line).length === 0;
  } catch {
    return false; // counted, and reported in the server's log
  }
}

/** Saves the state, with the yard's present place and zone. @returns false where it was repaired or removed already. */
async function storeRebuilt(ports: RepairPorts, feeder: DamagedFeeder, rebuilt: SteppedState, yard: YardRow) {
  const now = ports.clock.now();
  const done = await ports.store.transaction(async (tx) => {
    if (!(await tx.replaceDamaged(feeder, { ...rebuilt, lastStepAt: feeder.lastStepAt }, now))) return null;
    const [row] = await tx.feeders([feeder.id]);
    if (!row) return null;
    const { place, zone } = yard;
    const at = nextMoment(row.lastStepAt ?? row.addedAt, now);
    const fact: KeeperFact = { kind: "settingsChanged", settings: { ...row.state.settings, place, zone } };
    const changed = applyFact(startUpdate(row), fact, at);
    await saveUpdates(ports, tx, [{ feeder: changed, line: entryLine(fact, at, null) }], at);
    return { changed, revision: row.revision + 1 };
  });
  if (done === null) return false;
  announceUpdates(ports as Ports, [done.changed], new Map([[feeder.id, done.revision]]));
  return true;
}
