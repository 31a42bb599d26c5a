import type { YardRow, YardStore } from "../../ports.ts";
import type { Connections, Statements } from "./openStore.ts";
import { hasten, join } from "./peopleStore.ts";
import { dateOf, feederFrom, yardFrom } from "./rows.ts";

export function yardsOver({ reader, write, forgetRemoved }: Connections): YardStore {
  return {
    async yards() {
      return (await reader.yard.findMany({ orderBy: { createdAt: "asc" } })).map(yardFrom);
    },

    addYard: (yard, keeper, now) =>
      write(async (statements) => {
        await statements.yard.create({ data: { id: yard.id, ...columnsOf(yard), createdAt: dateOf(now) } });
        await join(statements, yard.id, keeper, "keeper", now);
      }),

    changeYard: (id, changes, now) =>
      write(async (statements) => {
        await statements.yard.updateMany({ where: { id }, data: columnsOf(changes) });
        const changed = await statements.yard.findUnique({ where: { id } });
        // Zone and escalation decide when its people are told.
        if (changed) await hasten(statements, { yardId: id }, now);
        return changed && yardFrom(changed);
      }),

    async removeYard(id) {
      await write(async (statements) => {
        const feeders = await statements.feeder.findMany({ where: { yardId: id }, select: { id: true } });
        for (const feeder of feeders) await forgetFeeder(statements, feeder.id);
        await statements.outboxItem.deleteMany({ where: { yardId: id } }); // what spoke of the yard itself
        await statements.yard.deleteMany({ where: { id } });
      });
      await forgetRemoved();
    },

    async feeders() {
      return (await reader.feeder.findMany({ orderBy: { createdAt: "asc" } })).map(feederFrom);
    },

    async feeder(id) {
      const found = await reader.feeder.findUnique({ where: { id } });
      return found && feederFrom(found);
    },

    addFeeder: ({ id, yard, keyHash, practice, state, said }, now) =>
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
        await statements.keeperAct.create({ data: { feederId: id, at: dateOf(now), said } });
      }),

    async removeFeeder(id) {
      await write((statements) => forgetFeeder(statements, id));
      await forgetRemoved();
    },

    changeKey: (id, keyHash) =>
      write(async (statements) => {
        await statements.feeder.updateMany({ where: { id }, data: { keyHash } });
      }),

    async feederWithKey(keyHash) {
      const found = await reader.feeder.findUnique({ where: { keyHash }, select: { id: true, yardId: true } });
      return found && { id: found.id, yard: found.yardId };
    },

    async keyOf(id) {
      return (await reader.feeder.findUnique({ where: { id }, select: { keyHash: true } }))?.keyHash ?? null;
    },

    async dueForLook(now, most) {
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

/** History has no foreign keys (they would cost every insert), so forgetting a feeder names each table. */
async function forgetFeeder(statements: Statements, id: string): Promise<void> {
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

function columnsOf<Changes extends Partial<YardRow>>({ place, id: _id, ...rest }: Changes) {
  if (place === undefined) return rest;
  return {
    ...rest,
    latitudeDegrees: place?.latitudeDegrees ?? null,
    longitudeDegrees: place?.longitudeDegrees ?? null,
  };
}
