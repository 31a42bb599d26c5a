import { type DamagedFeeder, FeederDamaged, type Removed, type YardRow, type YardStore } from "../../ports.ts";
import type { Feeder } from "./generated/sqlite/client.ts";
import type { Connections, Statements } from "./openStore.ts";
import { endLonelyAccount, join } from "./peopleStore.ts";
import { dateOf, feederFrom, instantFrom, maybeInstant, readableRows, stateOf, yardFrom } from "./rows.ts";

export function createYardStore({
  reader,
  write,
  forgetRemoved,
}: Pick<Connections, "reader" | "write" | "forgetRemoved">): YardStore {
  return {
    async yards() {
      return (await reader.yard.findMany({ orderBy: { createdAt: "asc" } })).map(yardFrom);
    },

    addYard: (yard, keeper, now) =>
      write(async (statements) => {
        await statements.yard.create({ data: { id: yard.id, ...columnsOf(yard), createdAt: dateOf(now) } });
        await join(statements, yard.id, keeper, "keeper", now);
      }),

    async removeYard(id, stays) {
      const removed = await write((statements) => forgetYard(statements, id, stays));
      await forgetRemoved();
      return removed;
    },

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

    addFeeder: ({ id, yard, keyHash, practice, state, firstEntry }, now) =>
      write(async (statements) => {
        await statements.feeder.create({
          data: {
            id,
            yardId: yard,
            keyHash,
            practice,
            state: JSON.stringify(state),
            nextLookAt: dateOf(now),
            createdAt: dateOf(now),
          },
        });
        await statements.keeperAct.create({ data: { feederId: id, at: dateOf(now), said: firstEntry } });
      }),

    async removeFeeder(id) {
      await write((statements) => deleteFeeder(statements, id));
      await forgetRemoved();
    },

    changeKeyHash: (id, keyHash) =>
      write(async (statements) => {
        await statements.feeder.updateMany({ where: { id }, data: { keyHash } });
      }),

    async feederWithKey(keyHash) {
      const found = await reader.feeder.findUnique({ where: { keyHash }, select: { id: true, yardId: true } });
      return found && { id: found.id, yard: found.yardId };
    },

    async keyHashOf(id) {
      return (await reader.feeder.findUnique({ where: { id }, select: { keyHash: true } }))?.keyHash ?? null;
    },

    async dueForCheck(now, most) {
      const due = await reader.feeder.findMany({
        where: { nextLookAt: { lte: dateOf(now) } },
        orderBy: { nextLookAt: "asc" },
        take: most,
        select: { id: true },
      });
      return due.map((feeder) => feeder.id);
    },
  };
}

/** @param stays whose account stays, whatever they belong to; null: everybody's */
export async function forgetYard(statements: Statements, id: string, stays: string | null): Promise<Removed> {
  const feeders = await statements.feeder.findMany({ where: { yardId: id }, select: { id: true } });
  for (const feeder of feeders) await deleteFeeder(statements, feeder.id);
  await statements.outboxItem.deleteMany({ where: { yardId: id } }); // what spoke of the yard itself
  const members = stays === null ? [] : await statements.member.findMany({ where: { yardId: id } });
  await statements.yard.deleteMany({ where: { id } });
  const people: string[] = [];
  for (const { keeperId } of members) {
    if (keeperId !== stays && (await endLonelyAccount(statements, keeperId))) people.push(keeperId);
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
      lastReportAt: maybeInstant(row.lastHeardAt),
      lastStepAt: maybeInstant(row.steppedAt),
    };
    return [{ id, yard: yardId, practice, revision, ...moments, problem: error.problem, stored: state }];
  }
}

/** What it was called last is in its record, as each change of its settings is. Null where that can't be read either. */
async function lastNameOf(reader: Statements, feederId: string): Promise<string | null> {
  const where = { feederId, said: { contains: '"settings":{' } };
  const act = await reader.keeperAct.findFirst({ where, orderBy: { at: "desc" } });
  const [, name] = /"settings":\{[^{}]*?"name":("(?:[^"\\]|\\.)*")/.exec(act?.said ?? "") ?? [];
  return name === undefined ? null : (JSON.parse(name) as string);
}

/** History has no foreign keys (they would cost every insert), so forgetting a feeder names each table. */
async function deleteFeeder(statements: Statements, id: string): Promise<void> {
  const of = { where: { feederId: id } };
  await statements.event.deleteMany(of);
  await statements.heartbeat.deleteMany(of);
  await statements.alarmChange.deleteMany(of);
  await statements.order.deleteMany(of);
  await statements.refill.deleteMany(of);
  await statements.keeperAct.deleteMany(of);
  await statements.patrolLook.deleteMany(of);
  await statements.actId.deleteMany(of);
  await statements.call.deleteMany(of);
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
