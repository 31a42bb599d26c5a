/**
 * A boot id should be new at each start. Where a feeder uses one again, each start under it is a life of its own: life 1 is stored
 * under the id itself, life 2 of `b-1` as `b-1#2`. No feeder can say `#` in a boot id, so no two starts share a number.
 */
export const numberedBoot = (label: string, number: number): string => (number === 1 ? label : `${label}#${number}`);
export const bootLabel = (boot: string): string => boot.split("#", 1)[0] as string;
export const bootNumber = (boot: string): number => Number(boot.split("#")[1] ?? 1);
