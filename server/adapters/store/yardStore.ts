import { initialRollups } from "../../domain/history/rollups.ts";
import type { RemovalResult, YardRow, YardStore } from "../../ports.ts";
import type { Connections, Statements } from "./openStore.ts";
import { addMember, removeAccountWithoutYards } from "./peopleStore.ts";
import { dateOf, octetsOf, yardFrom } from "./rows.ts";
import { encodeState } from "./snapshots.ts";

type Access = Pick<Connections, "reader" | "write" | "eraseRemoved" | "feeders">;
type Reading = "feeders" | "damagedFeeders" | "feeder" | "feederWithKey" | "keyHashOf" | "dueForCheck";

export const createYardStore = (access: Access): YardStore => ({ ...readFeeders(access), ...changeYards(access) });

function changeYards({ reader, write, eraseRemoved }: Omit<Access, "feeders">): Omit<YardStore, Reading> {
  return {
    async yards() {
      return (await reader.yard.findMany({ orderBy: { createdAt: "asc" } })).map(yardFrom);
    },

    addYard: (yard, keeper, now) =>
      write(async (statements) => {
        await statements.yard.create({ data: { id: yard.id, ...columnsOf(yard), createdAt: dateOf(now) } });
        await addMember(statements, yard.id, keeper, "keeper", now);
      }),

    async removeYard(id, stays) {
      const removed = await write((statements) => deleteYard(statements, id, stays));
      await eraseRemoved();
      return removed;
    },

    addFeeder: ({ id, yard, keyHash, practice, state, firstEntry }, now) =>
      write(async (statements) => {
        const { name } = state.settings;
        const data = { id, yardId: yard, keyHash, name, practice, createdAt: dateOf(now) };
        const { no: feederNo } = await statements.feeder.create({ data, select: { no: true } });
        const at = BigInt(now);
        await statements.feederHead.create({ data: { feederNo, revision: 0, nextCheckAt: at } });
        const stepped = octetsOf(encodeState({ state, rollups: initialRollups() }));
        await statements.snapshot.create({ data: { feederNo, slot: 0, step: 0, state: stepped } });
        await statements.logLine.create({ data: { feederNo, step: 0, at, kind: 1, entry: firstEntry } });
      }),

    async removeFeeder(id) {
      await write((statements) => deleteFeeder(statements, id));
      await eraseRemoved();
    },

    changeKeyHash: (id, keyHash) =>
      write(async (statements) => {
        await statements.feeder.updateMany({ where: { id }, data: { keyHash } });
      }),
  };
}

function readFeeders({ reader, feeders }: Pick<Access, "reader" | "feeders">): Pick<YardStore, Reading> {
  return {
    async feeders() {
      return feeders().usable(null);
    },

    async damagedFeeders() {
      return feeders().damaged();
    },

    async feeder(id) {
      return feeders().one(id);
    },

    async feederWithKey(keyHash) {
      const found = await reader.feeder.findUnique({ where: { keyHash }, select: { id: true, yardId: true } });
      return found && { id: found.id, yard: found.yardId };
    },

    async keyHashOf(id) {
      return (await reader.feeder.findUnique({ where: { id }, select: { keyHash: true } }))?.keyHash ?? null;
    },

    async dueForCheck(now, most) {
      return feeders().dueForCheck(now, most);
    },
  };
}

/** @param stays whose account stays even without a yard; null: everybody's */
export async function deleteYard(statements: Statements, id: string, stays: string | null): Promise<RemovalResult> {
  const feeders = await statements.feeder.findMany({ where: { yardId: id }, select: { id: true } });
  for (const feeder of feeders) await deleteFeeder(statements, feeder.id);
  await statements.programmeChange.deleteMany({ where: { yardId: id } });
  await statements.note.deleteMany({ where: { yardId: id } });
  await statements.picture.deleteMany({ where: { yardId: id } });
  await statements.still.deleteMany({ where: { yardId: id } }); // also of a feeder whose row is damaged
  await statements.outboxItem.deleteMany({ where: { yardId: id } }); // those about the yard itself
  const members = stays === null ? [] : await statements.member.findMany({ where: { yardId: id } });
  await statements.yard.deleteMany({ where: { id } });
  const people: string[] = [];
  for (const { keeperId } of members) {
    if (keeperId !== stays && (await removeAccountWithoutYards(statements, keeperId))) people.push(keeperId);
  }
  return { feeders: feeders.map((feeder) => feeder.id), people };
}

/** History has no foreign keys (they would cost every insert), so each table is named here. */
async function deleteFeeder(statements: Statements, id: string): Promise<void> {
  const feeder = await statements.feeder.findUnique({ where: { id }, select: { no: true } });
  if (feeder === null) return;
  const [of, ofNo] = [{ where: { feederId: id } }, { where: { feederNo: feeder.no } }];
  await statements.logLine.deleteMany(ofNo);
  await statements.logPack.deleteMany(ofNo);
  await statements.rollup.deleteMany(ofNo);
  await statements.snapshot.deleteMany(ofNo);
  await statements.feederHead.deleteMany(ofNo);
  await statements.alarmChange.deleteMany(of);
  await statements.order.deleteMany(of);
  await statements.refill.deleteMany(of);
  await statements.actionId.deleteMany(of);
  await statements.escalation.deleteMany(of);
  await statements.outboxItem.deleteMany(of);
  await statements.still.deleteMany(of);
  await statements.feeder.deleteMany({ where: { id } });
}

const columnsOf = ({ place, id, diseaseNotice, ...rest }: YardRow) => ({
  ...rest,
  latitudeDegrees: place?.latitudeDegrees ?? null,
  longitudeDegrees: place?.longitudeDegrees ?? null,
  diseaseNoticeAt: diseaseNotice === null ? null : dateOf(diseaseNotice.at),
  diseaseNoticeBy: diseaseNotice?.by ?? null,
});
