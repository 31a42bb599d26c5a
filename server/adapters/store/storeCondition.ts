import type { RestoreAdvice, StoreDamage } from "../../domain/storeDamage.ts";
import type { StoreCondition } from "../../ports.ts";

interface ConditionOptions {
  readonly advice?: () => RestoreAdvice;
  /** Called once for each damage that is worse than what was known. */
  readonly onDamage?: (damage: StoreDamage) => void;
}

export function createStoreCondition({
  advice = noAdvice,
  onDamage = () => undefined,
}: ConditionOptions = {}): StoreCondition {
  let worst: StoreDamage | null = null;
  return {
    damage: () => worst,
    restoreAdvice: advice,
    recordDamage(damage) {
      if (worst !== null && (worst.kind !== "commitsLost" || damage.kind === "commitsLost")) return;
      worst = damage;
      onDamage(damage);
    },
  };
}

const noAdvice = (): RestoreAdvice => ({ backup: null, command: "node deploy/backup/restore.mjs" });
