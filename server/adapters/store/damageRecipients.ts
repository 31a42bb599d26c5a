import type { DamageRecipients } from "../../ports.ts";
import type { Connections } from "./openStore.ts";

/** A helper can't restore anything, and a practice yard's keeper keeps a real one too, or nothing that could be lost. */
export function createDamageRecipients({ reader }: Pick<Connections, "reader">): () => Promise<DamageRecipients> {
  return async () => {
    const keepers = await reader.keeper.findMany({
      where: { members: { some: { role: "keeper", yard: { practice: false } } } },
      select: { id: true, mail: true, phones: { where: { blockedAt: null } } },
      orderBy: { id: "asc" },
    });
    return {
      phones: keepers.flatMap(({ id: keeper, phones }) =>
        phones.map(({ id, endpoint, p256dh, auth, label }) => ({ id, keeper, endpoint, p256dh, auth, label })),
      ),
      addresses: keepers.flatMap(({ mail }) => (mail === null ? [] : [mail])),
    };
  };
}
