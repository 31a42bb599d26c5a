import type { Escalation } from "../../domain/notification/escalation.ts";
import type { EscalationStore } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { dateOf } from "./rows.ts";

export function createEscalationStore({ reader }: Connections): EscalationStore {
  return {
    async due(now, most) {
      const due = await reader.escalation.findMany({
        where: { nextAt: { lte: dateOf(now) } },
        orderBy: { nextAt: "asc" },
        take: most,
        select: { topic: true },
      });
      return due.map(({ topic }) => topic);
    },

    async ofYard(yard) {
      const found = await reader.escalation.findMany({ where: { yardId: yard }, orderBy: { topic: "asc" } });
      return found.map(({ state }) => JSON.parse(state) as Escalation);
    },
  };
}
