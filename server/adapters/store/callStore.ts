import type { Call } from "../../domain/telling/call.ts";
import type { CallStore } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { dateOf } from "./rows.ts";

export function callsOver({ reader }: Connections): CallStore {
  return {
    async due(now, most) {
      const due = await reader.call.findMany({
        where: { nextAt: { lte: dateOf(now) } },
        orderBy: { nextAt: "asc" },
        take: most,
        select: { topic: true },
      });
      return due.map(({ topic }) => topic);
    },

    async ofYard(yard) {
      const found = await reader.call.findMany({ where: { yardId: yard }, orderBy: { topic: "asc" } });
      return found.map(({ state }) => JSON.parse(state) as Call);
    },
  };
}
