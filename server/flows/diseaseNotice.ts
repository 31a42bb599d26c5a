import type { Ports, YardRow } from "../ports.ts";
import { orderFeeders, refuseDamaged } from "./keeperActions.ts";

/**
 * A notice of a bird disease for a whole yard. While it is in force every feeder is paused until resumed, a new one as well, and nobody
 * resumes one by mistake (`DiseaseNoticeInForce`). Whoever lifts it resumes each feeder afterwards: food doesn't start by itself.
 */
export interface DiseaseNoticeRequest {
  readonly id: string; // of the pause; the same id again is the same order
  readonly inForce: boolean;
  readonly by: string;
}

/** @returns null where there is no such yard */
export async function setDiseaseNotice(
  ports: Ports,
  yard: string,
  { id, inForce, by }: DiseaseNoticeRequest,
): Promise<YardRow | null> {
  if (!inForce) return liftNotice(ports, yard);
  await refuseDamaged(ports, yard);
  let changed: YardRow | null = null;
  await orderFeeders(ports, { id, kind: "pause", until: null, by }, async (tx) => {
    const now = ports.clock.now();
    const found = await tx.yard(yard);
    if (found === null) return [];
    changed = await tx.changeYard(yard, { diseaseNotice: found.diseaseNotice ?? { at: now, by } }, now);
    return tx.feedersOf(yard);
  });
  announce(ports, yard);
  return changed;
}

async function liftNotice(ports: Ports, yard: string): Promise<YardRow | null> {
  const lifted = await ports.store.transaction((tx) => tx.changeYard(yard, { diseaseNotice: null }, ports.clock.now()));
  announce(ports, yard);
  return lifted;
}

const announce = (ports: Ports, yard: string): void => ports.liveFeed.announceChange(yard, null, null);
