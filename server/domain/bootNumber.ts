/**
 * A boot id should be new at each start. Where a feeder uses one again, each start under it gets a boot number: the first is stored
 * under the id itself, the second of `b-1` as `b-1#2`. A boot id can't contain `#`, so no two starts share a name.
 */
export const numberedBoot = (label: string, number: number): string => (number === 1 ? label : `${label}#${number}`);
export const bootLabel = (boot: string): string => boot.split("#", 1)[0] as string;
export const bootNumber = (boot: string): number => Number(boot.split("#")[1] ?? 1);
