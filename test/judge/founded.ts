import { type FaultKind, faultsStoppingFood, type Priority } from "../../server/domain/faults.ts";
import type { WorldFault, WorldTruth } from "../worlds/world.ts";

/** Whether an alarm tells of something that is true, by the world's own account. */

export interface RaisedAlarm {
  readonly fault: FaultKind;
  readonly priority: Priority;
  readonly reason: string;
}

/** What the world says at that moment. */
export interface Circumstances {
  readonly truth: WorldTruth;
  readonly emptyRuns: number; // runs of the motor in a row that gave nothing, the present or the last such row
  readonly capacityGrams: number;
}

/** "No food falls", under any of its names. */
export const stopFaults: ReadonlySet<FaultKind> = new Set(faultsStoppingFood);

/** So many runs in a row without food are worth a word, whatever the reason: so many promises were broken. Our choice. */
const emptyRunsTold = 5;
/** As good as empty: what lies there now gives a few portions, and poor ones. Our choice. */
const lastPortions = 10;
const lastShare = 0.02; // of the capacity
/** Worth the way to the feeder: less than a third of the hopper. Our choice. */
const lowShare = 1 / 3;

export function isFounded({ fault }: RaisedAlarm, { truth, emptyRuns, capacityGrams }: Circumstances): boolean {
  // The log itself shows that no report came; whether the line or the feeder is to blame makes no difference to the keeper.
  if (fault === "feederSilent") return true;
  // The worlds don't know when a battery freezes or is charged too cold: what its voltage and temperature say can't be judged here.
  if (fault === "batteryFreezing" || fault === "chargingInFrost") return true;
  if (fault === "foodLow") return truth.grams < lowShare * capacityGrams;
  const asGoodAsEmpty =
    truth.emptySince !== null ||
    truth.grams < Math.max(lastPortions * truth.portionGrams, lastShare * capacityGrams) ||
    emptyRuns >= emptyRunsTold;
  return asGoodAsEmpty && (stopFaults.has(fault) || fault === "depositUnpaid" || fault === "paymentUnclear");
}

/** The name that a keeper would call right, and those under which the fault is found at once all the same. */
export const namesOf: Readonly<
  Record<WorldFault, { readonly right: readonly FaultKind[]; readonly near: readonly FaultKind[] }>
> = {
  foodOut: { right: ["foodOut"], near: [...stopFaults, "foodLow"] },
  foodBridged: { right: ["feedBridged"], near: [...stopFaults] },
  trayJammed: { right: ["trayJammed"], near: [...stopFaults] },
  trayPartlyJammed: { right: ["trayJammed"], near: [...stopFaults, "chuteBlind"] },
  motorStalled: { right: ["motorStalled"], near: [...stopFaults] },
  motorWireOff: { right: ["motorNotTurning"], near: [...stopFaults] },
  chuteBlind: { right: ["chuteBlind"], near: [...stopFaults] },
  chuteDirty: { right: ["chuteBlind"], near: [] },
  scaleStuck: { right: ["scaleSilent", "readingStuck"], near: [] },
  scaleDead: { right: ["scaleSilent", "readingStuck"], near: [] },
  detectorDeaf: { right: ["detectorSilent", "detectorDrifting"], near: [] },
  buttonDead: { right: ["buttonSilent"], near: [] },
  buttonChatters: { right: ["sensorChattering"], near: [] },
  perchDead: { right: ["perchSilent"], near: [] },
  thermometerStuck: { right: ["readingStuck"], near: [] },
  paysNoMore: { right: ["depositUnpaid"], near: ["paymentUnclear"] },
};
