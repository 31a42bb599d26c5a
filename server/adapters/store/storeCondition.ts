import type { RestoreAdvice, StoreDamage } from "../../domain/storeDamage.ts";
import type { StoreCondition } from "../../ports.ts";

interface ConditionOptions {
  readonly advice?: () => RestoreAdvice;
  /** Called once for each damage that is graver than what was known. */
  readonly onDamage?: (damage: StoreDamage) => void;
}

export function createStoreCondition({
  advice = noAdvice,
  onDamage: noted = () => undefined,
}: ConditionOptions = {}): StoreCondition {
  let known: StoreDamage | null = null;
  return {
    damage: () => known,
    restoreAdvice: advice,
    recordDamage(damage) {
      if (known !== null && (known.kind !== "commitsLost" || damage.kind === "commitsLost")) return;
      known = damage;
      noted(damage);
    },
  };
}

const noAdvice = (): RestoreAdvice => ({ backup: null, command: "node deploy/backup/restore.mjs" });
