import type { CallStore } from "../../ports.ts";
import type { Connections } from "./openStore.ts";
import { dateOf } from "./rows.ts";

export function callsOver({ reader, write }: Connections): CallStore {
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

    hasten: (yard, now) =>
      write(async (statements) => {
        await statements.call.updateMany({ where: { yardId: yard }, data: { nextAt: dateOf(now) } });
      }),
  };
}
