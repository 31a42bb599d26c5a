import { type DamagedFeeder, FeederDamaged, type RemovalResult, type YardRow, type YardStore } from "../../ports.ts";
import type { Feeder } from "./generated/sqlite/client.ts";
import type { Connections, Statements } from "./openStore.ts";
import { addMember, removeAccountWithoutYards } from "./peopleStore.ts";
import { dateOf, feederFrom, instantFrom, maybeInstant, readableRows, stateOf, yardFrom } from "./rows.ts";

type Access = Pick<Connections, "reader" | "write" | "eraseRemoved">;
type Reading = "feeders" | "damagedFeeders" | "feeder" | "feederWithKey" | "keyHashOf" | "dueForCheck";

export const createYardStore = (access: Access): YardStore => ({ ...readFeeders(access), ...changeYards(access) });

function changeYards({ reader, write, eraseRemoved }: Access): Omit<YardStore, Reading> {
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
        await statements.feeder.create({
          data: {
            id,
            yardId: yard,
            keyHash,
            practice,
            state: JSON.stringify(state),
            nextCheckAt: dateOf(now),
            createdAt: dateOf(now),
          },
        });
        await statements.logEntry.create({ data: { feederId: id, at: dateOf(now), entry: firstEntry } });
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

function readFeeders({ reader }: Access): Pick<YardStore, Reading> {
  return {
    async feeders() {
      return readableRows(await reader.feeder.findMany({ orderBy: { createdAt: "asc" } }), feederFrom);
    },

    async damagedFeeders() {
      const found = (await reader.feeder.findMany({ orderBy: { createdAt: "asc" } })).flatMap(damagedFrom);
      const named = [];
      for (const feeder of found) named.push({ ...feeder, name: (await lastNameOf(reader, feeder.id)) ?? feeder.id });
      return named;
    },

    async feeder(id) {
      const found = await reader.feeder.findUnique({ where: { id } });
      return found && feederFrom(found);
    },

    async feederWithKey(keyHash) {
      const found = await reader.feeder.findUnique({ where: { keyHash }, select: { id: true, yardId: true } });
      return found && { id: found.id, yard: found.yardId };
    },

    async keyHashOf(id) {
      return (await reader.feeder.findUnique({ where: { id }, select: { keyHash: true } }))?.keyHash ?? null;
    },

    async dueForCheck(now, most) {
      const due = await reader.feeder.findMany({
        where: { nextCheckAt: { lte: dateOf(now) } },
        orderBy: { nextCheckAt: "asc" },
        take: most,
        select: { id: true },
      });
      return due.map((feeder) => feeder.id);
    },
  };
}

/** @param stays whose account stays even without a yard; null: everybody's */
export async function deleteYard(statements: Statements, id: string, stays: string | null): Promise<RemovalResult> {
  const feeders = await statements.feeder.findMany({ where: { yardId: id }, select: { id: true } });
  for (const feeder of feeders) await deleteFeeder(statements, feeder.id);
  await statements.outboxItem.deleteMany({ where: { yardId: id } }); // those about the yard itself
  const members = stays === null ? [] : await statements.member.findMany({ where: { yardId: id } });
  await statements.yard.deleteMany({ where: { id } });
  const people: string[] = [];
  for (const { keeperId } of members) {
    if (keeperId !== stays && (await removeAccountWithoutYards(statements, keeperId))) people.push(keeperId);
  }
  return { feeders: feeders.map((feeder) => feeder.id), people };
}

function damagedFrom(row: Feeder): Omit<DamagedFeeder, "name">[] {
  try {
    stateOf(row.id, row.state);
    return [];
  } catch (error) {
    if (!(error instanceof FeederDamaged)) throw error;
    const { id, yardId, practice, revision, state } = row;
    const moments = {
      addedAt: instantFrom(row.createdAt),
      lastReportAt: maybeInstant(row.lastReportAt),
      lastStepAt: maybeInstant(row.lastStepAt),
    };
    return [{ id, yard: yardId, practice, revision, ...moments, problem: error.problem, stored: state }];
  }
}

/** Its record holds each change of its settings, and so its last name. Null where that can't be read either. */
async function lastNameOf(reader: Statements, feederId: string): Promise<string | null> {
  const where = { feederId, entry: { contains: '"settings":{' } };
  const found = await reader.logEntry.findFirst({ where, orderBy: { at: "desc" } });
  const [, name] = /"settings":\{[^{}]*?"name":("(?:[^"\\]|\\.)*")/.exec(found?.entry ?? "") ?? [];
  return name === undefined ? null : (JSON.parse(name) as string);
}

/** History has no foreign keys (they would cost every insert), so each table is named here. */
async function deleteFeeder(statements: Statements, id: string): Promise<void> {
  const of = { where: { feederId: id } };
  await statements.event.deleteMany(of);
  await statements.heartbeat.deleteMany(of);
  await statements.alarmChange.deleteMany(of);
  await statements.order.deleteMany(of);
  await statements.refill.deleteMany(of);
  await statements.logEntry.deleteMany(of);
  await statements.periodicCheck.deleteMany(of);
  await statements.actionId.deleteMany(of);
  await statements.escalation.deleteMany(of);
  await statements.outboxItem.deleteMany(of);
  await statements.feeder.deleteMany({ where: { id } });
}

function columnsOf<Changes extends Partial<YardRow>>({ place, id, ...rest }: Changes) {
  if (place === undefined) return rest;
  return {
    ...rest,
    latitudeDegrees: place?.latitudeDegrees ?? null,
    longitudeDegrees: place?.longitudeDegrees ?? null,
  };
}
