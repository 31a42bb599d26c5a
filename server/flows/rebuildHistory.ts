import { FeederDamaged, type RebuiltRollups, type Store } from "../ports.ts";

/** A feeder's roll-ups, made again from its log; null: its state is damaged, and must be repaired first. */
export interface RebuiltFeeder {
  readonly id: string;
  readonly name: string;
  readonly rebuilt: RebuiltRollups | null;
}

/** One feeder after the other. @param wanted the id or the name of one; null: all. Empty where there is no such feeder. */
export async function* rebuildHistory(
  { yards, rollups }: Pick<Store, "yards" | "rollups">,
  wanted: string | null,
): AsyncGenerator<RebuiltFeeder> {
  const usable = (await yards.feeders()).map(({ id, state }) => ({ id, name: state.settings.name }));
  const feeders = [...usable, ...(await yards.damagedFeeders())];
  for (const { id, name } of feeders) {
    if (wanted !== null && wanted !== id && wanted !== name) continue;
    yield { id, name, rebuilt: await unlessDamaged(() => rollups.rebuild(id)) };
  }
}

async function unlessDamaged<T>(work: () => Promise<T>): Promise<T | null> {
  try {
    return await work();
  } catch (error) {
    if (error instanceof FeederDamaged) return null;
    throw error;
  }
}
