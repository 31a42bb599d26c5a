import type { Notice } from "../../domain/facts.ts";
import { instantOf } from "../../domain/instant.ts";
import type { OutboxItem, OutboxStore } from "../../ports.ts";
import type { Connections, Statements } from "./openStore.ts";
import { dateOf, instantFrom, phoneFrom } from "./rows.ts";

export function outboxOver({ reader, write }: Connections): OutboxStore {
  return {
    claim: (now, claimUntil, most) =>
      write(async (statements) => {
        const due = await statements.outboxItem.findMany({
          where: {
            phase: "waiting",
            phoneId: { not: null },
            dueAt: { lte: dateOf(now) },
            OR: [{ claimedUntil: null }, { claimedUntil: { lte: dateOf(now) } }],
          },
          orderBy: { dueAt: "asc" },
          take: most,
          include: { phone: true },
        });
        if (due.length === 0) return [];
        await statements.outboxItem.updateMany({
          where: { id: { in: due.map((item) => item.id) } },
          data: { claimedUntil: dateOf(claimUntil), attempts: { increment: 1 } },
        });
        return due.flatMap((item): OutboxItem[] =>
          item.phone === null
            ? []
            : [
                {
                  id: item.id,
                  phone: phoneFrom(item.phone),
                  feeder: item.feederId,
                  notice: JSON.parse(item.notice) as Notice,
                  writtenAt: instantFrom(item.writtenAt),
                  attempts: item.attempts,
                },
              ],
        );
      }),

    settle: (item, settlement) =>
      write(async (statements) => {
        if (settlement.kind === "phoneGone") {
          // Its other items go with it (ON DELETE CASCADE): nobody is there to read them.
          await statements.phone.deleteMany({ where: { id: item.phone.id } });
          return;
        }
        await settleItem(statements, item, settlement);
        await rememberPhone(statements, item, settlement);
      }),

    async nextDueAt() {
      const [next] = await reader.$queryRawUnsafe<{ at: string | null }[]>(
        `SELECT CAST(MIN(MAX("dueAt", COALESCE("claimedUntil", "dueAt"))) AS TEXT) AS at
         FROM "OutboxItem" WHERE "phase" = 'waiting'`,
      );
      return next?.at ? instantOf(next.at) : null;
    },
  };
}

type Kept = Exclude<Parameters<OutboxStore["settle"]>[1], { kind: "phoneGone" }>;

async function settleItem(statements: Statements, item: OutboxItem, settlement: Kept): Promise<void> {
  const data =
    settlement.kind === "retry"
      ? { claimedUntil: null, dueAt: dateOf(settlement.notBefore), problem: settlement.problem }
      : {
          phase: settlement.kind,
          settledAt: dateOf(settlement.at),
          problem: settlement.kind === "givenUp" ? settlement.problem : null,
        };
  // `waiting` only: while it was under way, a newer word may have replaced it.
  await statements.outboxItem.updateMany({ where: { id: item.id, phase: "waiting" }, data });
}

async function rememberPhone(statements: Statements, item: OutboxItem, settlement: Kept): Promise<void> {
  const data =
    settlement.kind === "delivered"
      ? { lastAcceptedAt: dateOf(settlement.at), problem: null }
      : { problem: settlement.problem };
  await statements.phone.updateMany({ where: { id: item.phone.id }, data });
}
