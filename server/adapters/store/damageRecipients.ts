import type { DamageRecipients } from "../../ports.ts";
import type { Connections } from "./openStore.ts";

/** Keepers of real yards: a helper can't restore anything, and a practice yard holds nothing that could be lost. */
export function createDamageRecipients({ reader }: Pick<Connections, "reader">): () => Promise<DamageRecipients> {
  return async () => {
    const keepers = await reader.keeper.findMany({
      where: { members: { some: { role: "keeper", yard: { practice: false } } } },
      select: { id: true, email: true, phones: { where: { blockedAt: null } } },
      orderBy: { id: "asc" },
    });
    return {
      phones: keepers.flatMap(({ id: keeper, phones }) =>
        phones.map(({ id, endpoint, p256dh, auth, label }) => ({ id, keeper, endpoint, p256dh, auth, label })),
      ),
      addresses: keepers.flatMap(({ email }) => (email === null ? [] : [email])),
    };
  };
}
