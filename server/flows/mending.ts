import type { FeederState } from "../domain/feeder.ts";
import { newFeeder } from "../domain/feeder.ts";
import type { DamagedFeeder, FeederRow, Ports, YardRow } from "../ports.ts";
import { readLine } from "../replay/logLine.ts";
import { Replay } from "../replay/replay.ts";
import { announce, save } from "./advance.ts";
import { feederLog } from "./feederLog.ts";
import { advanced, begin } from "./pure/advanced.ts";
import { type KeeperFact, saidOfFact } from "./pure/loggedActs.ts";
import { nextMoment } from "./pure/nextMoment.ts";
import { usualSettings } from "./pure/saidSettings.ts";

/**
 * A feeder whose stored state is damaged is rebuilt from its record, which has every step that led to it. Meanwhile all others go
 * on: its reports are answered 503, so that it keeps its events, and its yard's page says why.
 */

export interface MendingLog {
  warn(words: string): void;
  error(what: object, words: string): void;
}

type MendingPorts = Pick<Ports, "clock" | "store" | "live" | "bell" | "mail">;

/** Meant for the start and for each tick. One that fails is logged, is tried again with the next tick, and stops no other. */
export async function mendDamaged(ports: MendingPorts, log: MendingLog): Promise<void> {
  for (const feeder of await ports.store.yards.damaged()) {
    const under = underWay(ports);
    const mending = under.get(feeder.id) ?? mendOne(ports, feeder, log).finally(() => under.delete(feeder.id));
    under.set(feeder.id, mending);
    await mending;
  }
}

/** The same without waiting, for whoever met a damaged feeder. */
export function mendSoon(ports: MendingPorts, log: MendingLog): void {
  mendDamaged(ports, log).catch((error: unknown) => {
    log.error({ err: error }, "looking for damaged feeders failed; it is tried again with the next tick");
  });
}

/** A record of years takes a while: it must not be read twice at once. */
const underWayIn = new WeakMap<object, Map<string, Promise<void>>>();
function underWay({ store }: MendingPorts): Map<string, Promise<void>> {
  const known = underWayIn.get(store) ?? new Map<string, Promise<void>>();
  underWayIn.set(store, known);
  return known;
}

async function mendOne(ports: MendingPorts, feeder: DamagedFeeder, log: MendingLog): Promise<void> {
  const named = `${feeder.name} (${feeder.id})`;
  try {
    const yard = (await ports.store.yards.yards()).find(({ id }) => id === feeder.yard);
    if (yard === undefined) return; // it was removed meanwhile
    const { state, left } = await replayed(ports, feeder, yard);
    if (!(await putBack(ports, feeder, state, yard))) return;
    const but = left === 0 ? "" : ` ${left} lines of the record could not be read and are left out.`;
    log.warn(
      `The stored state of feeder ${named} was damaged: ${feeder.problem}. It is rebuilt from its record.${but} What was stored is kept in damagedState.`,
    );
  } catch (error) {
    log.error({ err: error, feeder: feeder.id }, `the damaged state of feeder ${named} could not be rebuilt`);
  }
}

const linesPerTurn = 100; // of the event loop: some 40 ms

/** The state that its record leads to, and how many lines of it could not be read. */
async function replayed({ clock, store }: MendingPorts, feeder: DamagedFeeder, yard: YardRow) {
  const settings = usualSettings({ practice: yard.practice, place: yard.place, zone: yard.zone }, feeder.name);
  const begun: FeederRow = { ...feeder, rebuiltAt: null, state: newFeeder(settings, feeder.addedAt) };
  const replay = new Replay({ settings: {}, hourly: false, say: () => undefined });
  let [lines, left] = [0, 0];
  for await (const text of feederLog(store.records, begun, clock.now())) {
    if (!taken(replay, text)) left += 1;
    lines += 1;
    if (lines % linesPerTurn === 0) await new Promise((resolve) => setImmediate(resolve));
  }
  return { state: replay.stateOf(feeder.id) ?? begun.state, left };
}

/** A line that is damaged too costs what it told, and no more. */
function taken(replay: Replay, text: string): boolean {
  try {
    const read = readLine(text);
    return read.kind === "read" && replay.take(read.line).length === 0;
  } catch {
    return false; // counted, and told in the log
  }
}

/** Writes the state, with what its yard was given meanwhile. @returns false where it was mended or removed already. */
async function putBack(ports: MendingPorts, feeder: DamagedFeeder, rebuilt: FeederState, yard: YardRow) {
  const now = ports.clock.now();
  const done = await ports.store.transaction(async (tx) => {
    if (!(await tx.replaceDamaged(feeder, { state: rebuilt, steppedAt: feeder.steppedAt }, now))) return null;
    const [row] = await tx.feeders([feeder.id]);
    if (!row) return null;
    const { place, zone } = yard;
    const at = nextMoment(row.steppedAt ?? row.addedAt, now);
    const fact: KeeperFact = { kind: "settingsChanged", settings: { ...row.state.settings, place, zone } };
    const changed = advanced(begin(row), fact, at);
    await save(ports, tx, [changed], at);
    await tx.recordAct({ feeder: feeder.id, at, said: JSON.stringify(saidOfFact(fact, at, null)) });
    return { changed, revision: row.revision + 1 };
  });
  if (done === null) return false;
  announce(ports as Ports, [done.changed], new Map([[feeder.id, done.revision]]));
  return true;
}
