import { type FaultKind, ruleOf } from "../faults.ts";

/**
 * What to change where one alarm comes again and again, so that it comes less often; `advice` in faults.ts is for this time, and
 * is used where nothing better is known. Common practice, no source.
 */
const remedies: { readonly [fault in FaultKind]?: string } = {
  feederSilent: "its network or power is weak. Move it nearer to the access point, or report less often.",
  foodLow:
    "fill the hopper when the digest asks, which is before the alarm, and fill it to the brim. If you always come in time anyway, let it warn later in the feeder's settings.",
  foodOut: "it runs out before anybody comes. Fill it when the digest asks, or give the feeder a larger hopper.",
  trayJammed: "a tray that jams again and again has food too coarse for it, or lets in damp. Try smaller pieces.",
  feedBridged: "damp or too fine food bridges. Keep it dry, take out what has caked, try coarser food.",
  depositUnpaid: "repair the cause, and pause the feeder until then.",
  pauseOverdue: "orders come late where the feeder seldom reports. Let it report more often, or check its network.",
  iceLock: "it is the water in them that freezes. Let the tray drain, and give tray and slot a roof.",
  chuteBlind: "dust and frost come back. Give the sensor a hood, or turn it so that nothing settles on it.",
  buttonSilent: "repair it, or remove it in the feeder's settings.",
  detectorSilent: "repair it, or remove it in the feeder's settings.",
  perchSilent: "repair it, or remove it in the feeder's settings.",
  scaleSilent: "repair it, or remove it in the feeder's settings.",
  sensorChattering: "dry the contact and seal it: damp comes back with each thaw.",
  readingStuck: "often a loose plug. Solder or replace it.",
  readingImpossible: "often a loose plug. Solder or replace it.",
  supplyWeak: "the supply is too small for the motor in the cold. Shorter or thicker wires, or a stronger supply.",
  batteryFreezing: "bring the battery in for the winter, or give it a larger one: a full battery freezes far later.",
  chargingInFrost: "let the charger wait for warmth by a thermometer of its own.",
  detectorDrifting: "shelter the detector from the weather, or calibrate it more often.",
  troubleReported: "this comes from the feeder's own program. Check there.",
};

export const remedyText = (fault: FaultKind): string => remedies[fault] ?? lowerCased(ruleOf(fault).advice);

const lowerCased = (text: string) => text.charAt(0).toLowerCase() + text.slice(1);
