import { type FaultKind, ruleOf } from "../faults.ts";

/**
 * What to change where one alarm comes again and again: not what to do about it this time (`act` in faults.ts), but so that it
 * comes less often. Where nothing better is known, the act itself. Common practice, no source.
 */
const remedies: { readonly [fault in FaultKind]?: string } = {
  feederSilent:
    "where it stands its network or its power is weak. Bring the two nearer to each other, or tell it to report less often.",
  foodLow:
    "fill the hopper when the digest asks, which is before the alarm, and fill it to the brim. If you always come in time anyway, let it warn later in the feeder's settings.",
  foodOut: "it runs out before anybody comes. Fill it when the digest asks, or give the feeder a larger hopper.",
  trayJammed: "a tray that jams again and again has food too coarse for it, or lets in damp. Try smaller pieces.",
  feedBridged: "damp or too fine food bridges. Keep it dry, take out what has caked, try coarser food.",
  depositUnpaid: "mend what stands behind it, and pause the feeder until then: the birds remember.",
  pauseOverdue: "orders come late where the feeder seldom reports. Let it report more often, or look at its network.",
  iceLock: "it is the water in them that freezes. Let the tray drain, and give tray and slot a roof.",
  chuteBlind: "dust and frost come back. Give the sensor a hood, or turn it so that nothing settles on it.",
  buttonSilent: "mend it, or say in the feeder's settings that it has none.",
  detectorSilent: "mend it, or say in the feeder's settings that it has none.",
  perchSilent: "mend it, or say in the feeder's settings that it has none.",
  scaleSilent: "mend it, or say in the feeder's settings that it has none.",
  sensorChattering: "dry the contact and seal it: damp comes back with each thaw.",
  readingStuck: "a plug that has worked loose does this by turns. Solder or replace it.",
  readingImpossible: "a plug that has worked loose does this by turns. Solder or replace it.",
  supplyWeak: "the supply is too small for the motor in the cold. Shorter or thicker wires, or a stronger supply.",
  batteryFreezing: "bring the battery in for the winter, or give it a larger one: a full battery freezes far later.",
  chargingInFrost: "let the charger wait for warmth by a thermometer of its own.",
  detectorDrifting: "shelter the detector from the weather, or let it find its zero more often.",
  troubleReported: "the feeder's own program says so: look there what it means, and whether it need be said.",
};

export const remedyText = (fault: FaultKind): string => remedies[fault] ?? lowerCased(ruleOf(fault).advice);

const lowerCased = (words: string) => words.charAt(0).toLowerCase() + words.slice(1);
