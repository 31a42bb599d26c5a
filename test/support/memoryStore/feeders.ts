import { initialRollups } from "../../../server/domain/history/rollups.ts";
import type { Instant } from "../../../server/domain/instant.ts";
import {
  type DamagedFeeder,
  FeederDamaged,
  type FeederRow,
  StoreBusy,
  type Transaction,
  type YardStore,
} from "../../../server/ports.ts";
import { bodiesOf, bootsOf } from "./log.ts";
import type { Access } from "./memoryDatabase.ts";
import { addMember, makeEscalationsDue } from "./people.ts";
import { removeFeeder, removeYard } from "./removals.ts";
import { saveQuarters } from "./rollups.ts";
import {
  addIfNew,
  addRow,
  compareBy,
  keyOf,
  rowOf,
  rowsWhere,
  type StoredFeeder,
  type StoredYard,
  type Tables,
} from "./tables.ts";

type Reading = "yards" | "feeders" | "damagedFeeders" | "feeder" | "feederWithKey" | "keyHashOf" | "dueForCheck";

export const createYards = (access: Access): YardStore => ({ ...readYards(access), ...changeYards(access) });

/** In the order in which they were added. */
export const yardsWhere = (tables: Tables, isWanted: (yard: StoredYard) => boolean) =>
  rowsWhere(tables.yards, isWanted)
    .sort(compareBy(({ createdAt }) => createdAt))
    .map(({ createdAt, ...yard }) => yard);

const inOrder = compareBy<StoredFeeder>(
  ({ addedAt }) => addedAt,
  ({ id }) => id,
);

/** Those whose state can be used. */
export const usableFeeders = (tables: Tables, yard: string | null): readonly FeederRow[] =>
  rowsWhere(tables.feeders, (feeder) => (yard === null || feeder.yard === yard) && feeder.problem === null)
    .sort(inOrder)
    .map(feederFrom);

export function feederFrom({ keyHash, nextCheckAt, problem, ...feeder }: StoredFeeder): FeederRow {
  if (problem !== null) throw new FeederDamaged(feeder.id, problem);
  return feeder;
}

const damagedFrom = ({
  keyHash,
  nextCheckAt,
  state,
  rollups,
  rebuiltAt,
  problem,
  ...feeder
}: StoredFeeder): DamagedFeeder => ({
  ...feeder,
  name: state.settings.name,
  problem: problem ?? "",
});

const readYards = ({ read }: Access): Pick<YardStore, Reading> => ({
  async yards() {
    return yardsWhere(read(), () => true);
  },
  async feeders() {
    return usableFeeders(read(), null);
  },
  async damagedFeeders() {
    const damaged = rowsWhere(read().feeders, ({ problem }) => problem !== null);
    return damaged.sort(inOrder).map(damagedFrom);
  },
  async feeder(id) {
    const found = read().feeders.get(id);
    return found === undefined ? null : feederFrom(found);
  },
  async feederWithKey(keyHash) {
    const [found] = rowsWhere(read().feeders, (feeder) => feeder.keyHash === keyHash);
    return found === undefined ? null : { id: found.id, yard: found.yard };
  },
  async keyHashOf(id) {
    return read().feeders.get(id)?.keyHash ?? null;
  },
  async dueForCheck(now, most) {
    const due = rowsWhere(read().feeders, ({ nextCheckAt }) => nextCheckAt <= now);
    return due
      .sort(compareBy(({ nextCheckAt }) => nextCheckAt))
      .slice(0, most)
      .map(({ id }) => id);
  },
});

const changeYards = ({ write }: Access): Omit<YardStore, Reading> => ({
  addYard: (yard, keeper, now) =>
    write((tables) => {
      addRow(tables.yards, yard.id, { ...yard, createdAt: now });
      addMember(tables, { yard: yard.id, person: keeper, role: "keeper" }, now);
    }),
  removeYard: (id, stays) => write((tables) => removeYard(tables, id, stays)),
  addFeeder: ({ id, yard, keyHash, practice, state, firstEntry }, now) =>
    write((tables) => {
      rowOf(tables.yards, yard);
      requireFreeKey(tables, keyHash);
      const times = { addedAt: now, lastReportAt: null, lastStepAt: null, rebuiltAt: null, nextCheckAt: now };
      const stepped = { state, rollups: initialRollups() };
      addRow(tables.feeders, id, { id, yard, practice, revision: 0, ...times, ...stepped, keyHash, problem: null });
      tables.log.set(id, [{ step: 0, at: now, content: { kind: "entry", entry: firstEntry } }]);
    }),
  removeFeeder: (id) => write((tables) => removeFeeder(tables, id)),
  changeKeyHash: (id, keyHash) =>
    write((tables) => {
      const found = tables.feeders.get(id);
      if (found === undefined) return;
      requireFreeKey(tables, keyHash);
      tables.feeders.set(id, { ...found, keyHash });
    }),
});

function requireFreeKey(tables: Tables, keyHash: string): void {
  if (rowsWhere(tables.feeders, (feeder) => feeder.keyHash === keyHash).length > 0)
    throw new Error("expected a key that no feeder has");
}

type Steps = "feeders" | "feedersOf" | "saveSteps" | "replaceDamaged" | "storedEventBodies" | "storedBoots";

export const feederTransaction = (tables: Tables): Pick<Transaction, Steps | "yard" | "changeYard"> => ({
  async feeders(ids) {
    return ids.flatMap((id) => tables.feeders.get(id) ?? []).map(feederFrom);
  },
  async feedersOf(yard) {
    return usableFeeders(tables, yard);
  },
  async storedEventBodies(feeder, boot, seqs) {
    return bodiesOf(tables.log.get(feeder) ?? [], boot, seqs);
  },
  async storedBoots(feeder, label) {
    return bootsOf(tables.log.get(feeder) ?? [], label);
  },
  async saveSteps(steps) {
    for (const { isPlain, line, revision, closedQuarters, ...step } of steps) {
      const feeder = rowOf(tables.feeders, step.id);
      if (feeder.revision !== revision) throw new StoreBusy(`the feeder ${step.id} has made another step`);
      feederFrom(feeder);
      const { state, rollups, lastReportAt, lastStepAt, nextCheckAt } = step;
      const next = { ...feeder, state, rollups, lastReportAt, lastStepAt, nextCheckAt, revision: revision + 1 };
      tables.feeders.set(step.id, next);
      tables.log.set(step.id, [...(tables.log.get(step.id) ?? []), { ...line, step: revision + 1 }]);
      const zone = { before: feeder.state.settings.zone, now: state.settings.zone };
      saveQuarters(tables, step.id, closedQuarters, zone);
    }
  },
  async replaceDamaged({ id, revision }, { state, rollups, lastStepAt }, now) {
    const feeder = rowOf(tables.feeders, id);
    if (feeder.revision !== revision) return false;
    const stepped = { state, rollups, lastStepAt, revision: revision + 1 };
    tables.feeders.set(id, { ...feeder, ...stepped, rebuiltAt: now, nextCheckAt: now, problem: null });
    return true;
  },
  async yard(id) {
    const found = tables.yards.get(id);
    if (found === undefined) return null;
    const { createdAt, ...yard } = found;
    return yard;
  },
  changeYard: yardChange(tables),
});

function yardChange(tables: Tables): Transaction["changeYard"] {
  return async (id, changes, now: Instant) => {
    const found = tables.yards.get(id);
    if (found === undefined) return null;
    const { createdAt, ...yard } = { ...found, ...changes };
    tables.yards.set(id, { ...yard, createdAt });
    makeEscalationsDue(tables, [id], now);
    return yard;
  };
}

/** What keepers do, and what an alarm does. */
export const recordTransaction = (
  tables: Tables,
): Pick<Transaction, "appendAlarmChanges" | "saveOrder" | "saveRefill" | "claimActionId" | "claimDigest"> => ({
  async appendAlarmChanges(feeder, changes) {
    tables.alarmChanges.set(feeder, [...(tables.alarmChanges.get(feeder) ?? []), ...changes]);
  },
  async saveOrder(feeder, order) {
    const key = keyOf(feeder, order.id);
    const { status, sentAt, answeredAt, problem } = order;
    tables.orders.set(key, {
      ...(tables.orders.get(key) ?? { ...order, feeder }),
      status,
      sentAt,
      answeredAt,
      problem,
    });
  },
  async saveRefill(refill) {
    return addIfNew(tables.refills, keyOf(refill.feeder, refill.id), refill);
  },
  async claimActionId(feeder, id, at) {
    return addIfNew(tables.actionIds, keyOf(feeder, id), { feeder, at });
  },
  async claimDigest(yard, localDate, _now, digest) {
    rowOf(tables.yards, yard);
    return addIfNew(tables.digests, keyOf(yard, localDate), { ...digest, yard, localDate });
  },
});
