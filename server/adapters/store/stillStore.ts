import { hasSpace, type PictureUsage } from "../../domain/pictures/pictureSpace.ts";
import type { StillPayment, StillRow, StillStore } from "../../ports.ts";
import type { Still } from "./generated/sqlite/client.ts";
import type { Connections, Statements } from "./openStore.ts";
import { dateOf, instantFrom, rowsBefore } from "./rows.ts";

const keyOf = (yard: string, id: string) => ({ yardId_id: { yardId: yard, id } });

export const createStillStore = (connections: Connections): StillStore => ({
  ...reads(connections),
  ...counts(connections),
  ...changes(connections),
  ...removals(connections),
});

type Count = "countOf" | "usage" | "labels";
type Removal = "addStill" | "removeStill" | "removeOldStills";
type Change = "changeStill" | "saveEvent";

const reads = ({ reader }: Connections): Omit<StillStore, Count | Removal | Change> => ({
  async stills(yard, before, most) {
    const where = { yardId: yard, ...rowsBefore(before) };
    const found = await reader.still.findMany({ where, orderBy: [{ at: "desc" }, { id: "asc" }], take: most });
    return found.map(stillFrom);
  },

  async still(yard, id) {
    const found = await reader.still.findUnique({ where: keyOf(yard, id) });
    return found === null ? null : stillFrom(found);
  },

  async stillsById(yard, ids) {
    const found = await reader.still.findMany({ where: { yardId: yard, id: { in: [...ids] } } });
    return found.map(stillFrom);
  },

  async openStills(after, most) {
    const isUnpaid = { eventKind: "deposit", OR: [{ payment: null }, { payment: "unpaid" }] };
    const isUnknown = { eventKind: null, seq: { not: null } };
    const found = await reader.still.findMany({
      where: { addedAt: { gt: dateOf(after) }, OR: [isUnknown, isUnpaid] },
      orderBy: [{ addedAt: "desc" }, { id: "asc" }],
      take: most,
    });
    return found.map(stillFrom);
  },

  async allStills() {
    const found = await reader.still.findMany({
      select: { yardId: true, id: true, feederId: true },
      orderBy: [{ yardId: "asc" }, { id: "asc" }],
    });
    return found.map(({ yardId, id, feederId }) => ({ yard: yardId, id, feeder: feederId }));
  },
});

const counts = ({ reader }: Connections): Pick<StillStore, Count> => ({
  countOf: (feeder, after) => reader.still.count({ where: { feederId: feeder, addedAt: { gt: dateOf(after) } } }),

  usage: (yard) => usageOf(reader, yard),

  async labels(yard) {
    const found = await reader.still.groupBy({
      by: ["who", "brought"],
      where: { yardId: yard },
      _count: true,
      orderBy: [{ who: "asc" }, { brought: "asc" }],
    });
    return found.map(({ who, brought, _count }) => ({ who, brought, stills: _count }));
  },
});

const changes = ({ write }: Connections): Pick<StillStore, Change> => ({
  changeStill: (yard, id, data) =>
    write(async (statements) => (await statements.still.updateMany({ where: { yardId: yard, id }, data })).count === 1),

  saveEvent: (yard, id, { at, eventKind, payment }) =>
    write(async (statements) => {
      const data = { at: dateOf(at), eventKind, payment };
      await statements.still.updateMany({ where: { yardId: yard, id }, data });
    }),
});

const removals = ({ write, eraseRemoved }: Connections): Pick<StillStore, Removal> => ({
  async addStill(still, most) {
    const added = await write(async (statements) => {
      const { yard, id, feeder } = still;
      const select = { id: true };
      if ((await statements.still.findUnique({ where: keyOf(yard, id), select })) !== null)
        return { kind: "known" } as const;
      const isThere = await statements.feeder.findFirst({ where: { id: feeder, yardId: yard }, select });
      if (isThere === null) return { kind: "noFeeder" } as const;
      const removed = await oldestToRemove(statements, still, most);
      if (removed === null) return { kind: "full" } as const;
      await statements.still.deleteMany({ where: { yardId: yard, id: { in: [...removed] } } });
      await statements.still.create({ data: columnsOf(still) });
      return { kind: "added", removed } as const;
    });
    if (added.kind === "added" && added.removed.length > 0) await eraseRemoved();
    return added;
  },

  async removeStill(yard, id) {
    const { count } = await write((statements) => statements.still.deleteMany({ where: { yardId: yard, id } }));
    if (count > 0) await eraseRemoved();
    return count > 0;
  },

  async removeOldStills(yard, before, most) {
    const removed = await write(async (statements) => {
      const found = await statements.still.findMany({
        where: { yardId: yard, addedAt: { lt: dateOf(before) }, starred: false },
        select: { id: true },
        orderBy: [{ addedAt: "asc" }, { id: "asc" }],
        take: most,
      });
      for (const { id } of found) await statements.still.delete({ where: keyOf(yard, id) });
      return found.map(({ id }) => id);
    });
    if (removed.length > 0) await eraseRemoved();
    return removed;
  },
});

/** A full yard loses one for each that comes, and more only where the quota was made smaller. */
const removedAtOnce = 200;

/** @returns null where even without them there is no space */
async function oldestToRemove(
  statements: Statements,
  { yard, bytes }: StillRow,
  most: PictureUsage,
): Promise<readonly string[] | null> {
  let used = await usageOf(statements, yard);
  if (hasSpace(used, bytes, most)) return [];
  const oldest = await statements.still.findMany({
    where: { yardId: yard, starred: false },
    select: { id: true, bytes: true },
    orderBy: [{ addedAt: "asc" }, { id: "asc" }],
    take: removedAtOnce,
  });
  const removed: string[] = [];
  for (const one of oldest) {
    used = { pictures: used.pictures - 1, bytes: used.bytes - Number(one.bytes) };
    removed.push(one.id);
    if (hasSpace(used, bytes, most)) return removed;
  }
  return null;
}

async function usageOf(reader: Pick<Statements, "still">, yard: string): Promise<PictureUsage> {
  const { _count, _sum } = await reader.still.aggregate({
    where: { yardId: yard },
    _count: true,
    _sum: { bytes: true },
  });
  return { pictures: _count, bytes: Number(_sum.bytes ?? 0n) };
}

const columnsOf = ({ yard, feeder, at, addedAt, event, bytes, ...row }: StillRow) => ({
  ...row,
  ...{ yardId: yard, feederId: feeder, at: dateOf(at), addedAt: dateOf(addedAt), bytes: BigInt(bytes) },
  ...{ boot: event?.boot ?? null, seq: event === null ? null : BigInt(event.seq) },
});

const stillFrom = ({ yardId, feederId, at, addedAt, boot, seq, payment, bytes, ...row }: Still): StillRow => ({
  ...row,
  ...{ yard: yardId, feeder: feederId, at: instantFrom(at), addedAt: instantFrom(addedAt), bytes: Number(bytes) },
  event: boot === null || seq === null ? null : { boot, seq: Number(seq) },
  payment: payment as StillPayment | null,
});
