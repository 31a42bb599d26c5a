import { type Instant, minutes, type Span, seconds } from "./instant.ts";
import type { Probability } from "./units.ts";

/** A fault is what is wrong now; an alarm (alarms/) is its record that people may be notified of. */
export interface Fault {
  readonly kind: FaultKind;
  /** One or two plain sentences for the keeper: what is wrong and how it was detected. */
  readonly reason: string;
  /** The numbers behind the reason, for those who want to check it. */
  readonly evidence: readonly Evidence[];
  /** The confidence of the test that found it; null where the fault is a fact and no inference. */
  readonly confidence: Probability | null;
}

export interface Evidence {
  readonly label: string;
  readonly value: string;
  readonly at: Instant | null; // null where it is not about one moment
}

/** `urgent`: act now. `soon`: act today. `note`: in the digest only, never pushed. */
export type Priority = "urgent" | "soon" | "note";

export interface FaultRule {
  readonly title: string;
  readonly priority: Priority;
  /** How long the fault must persist before its alarm is raised (ISA-18.2 on-delay). */
  readonly onDelay: Span;
  /** How long it must be absent before the alarm returns to normal (ISA-18.2 off-delay). */
  readonly offDelay: Span;
  /** What the keeper can do about it, in one sentence. */
  readonly advice: string;
  /**
   * While one of these is present, this fault is its consequence and raises no alarm of its own. A cause must lead to it for
   * certain: what the weather makes likely (ice, caking) explains no jam that a portion has shown, whose own text mentions the
   * ice. No chain of causes may come back to itself.
   */
  readonly explainedBy: readonly FaultKind[];
  /**
   * It may have done lasting damage: when it has ended the alarm waits until somebody has checked the feeder and confirms it
   * (ISA-18.2, "latched"). Only where no later measurement would show the damage. A motor that was stalled and gives portions
   * again works, and so does a hopper, a sensor or a connection.
   */
  readonly latched?: true;
}

/** No food reaches the birds: they stay away after a while, and then a working sensor has no signal either. */
const faultsStoppingFood = [
  "motorNotTurning",
  "motorStalled",
  "foodOut",
  "trayJammed",
  "feedBridged",
  "feedStopped",
] as const;

/**
 * Every fault that Pieward detects, the highest priority first. To add one: an entry here, a finder in its module, a planted fault
 * in the module's tests. The delays are common practice, no source; ISA-18.2 only says that each alarm needs its own.
 */
export const faultRules = {
  feederSilent: {
    title: "no reports",
    priority: "urgent",
    onDelay: minutes(0), // the time without reports is the delay: its length is learnt (silence/)
    offDelay: minutes(0), // one report shows that it works again
    advice: "Check its power and network. Nothing else is known until it reports again.",
    explainedBy: [],
  },
  motorNotTurning: {
    title: "motor not turning",
    priority: "urgent",
    onDelay: minutes(0), // the sequential test that found it has already waited for enough portions
    offDelay: minutes(0),
    advice: "Pause the feeder, then check the motor's wire and plug with the power off.",
    explainedBy: ["feederSilent", "supplyWeak"],
  },
  motorStalled: {
    title: "motor stalled",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Pause the feeder before the motor overheats, then free the tray.",
    explainedBy: ["feederSilent"],
  },
  foodOut: {
    title: "hopper empty",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Refill the hopper, or pause the feeder so that birds do not bring caps without a reward.",
    explainedBy: ["feederSilent"],
  },
  trayJammed: {
    title: "tray jammed",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Pause the feeder, then loosen the food in the tray. In frost, check for ice first.",
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "foodOut"],
  },
  feedBridged: {
    title: "food stuck above the tray",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice:
      "Pause the feeder, then stir the food from above until it falls onto the tray again. Remove damp or caked food.",
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "foodOut", "trayJammed"],
  },
  feedStopped: {
    title: "no food falls",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Check the hopper and tray: empty or jammed. The sensors can't show which.",
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "foodOut", "trayJammed", "feedBridged"],
  },
  depositUnpaid: {
    title: "deposit without a portion",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(30),
    advice: "Find the cause soon, or the birds stop coming. See the other alarms.",
    // A board that restarts during a portion because of low voltage has lost the deposit to pay for.
    explainedBy: ["feederSilent", ...faultsStoppingFood, "supplyWeak"],
  },
  feedsThoughPaused: {
    title: "feeding while paused",
    priority: "urgent",
    onDelay: minutes(0), // one portion after its own confirmation is enough
    offDelay: minutes(30), // a feeder that does it repeatedly is one alarm
    advice: "Assume that it is feeding. If it must stop, go there and switch it off.",
    explainedBy: [], // a keeper who requested a pause must know that it isn't followed, whatever else is wrong
  },
  pauseContradicted: {
    title: "pause not followed",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(30),
    advice: "Assume that it is feeding. If it must stop, go there and switch it off.",
    explainedBy: ["feedsThoughPaused"],
  },
  pauseOverdue: {
    title: "pause not confirmed",
    priority: "urgent",
    onDelay: minutes(0), // the order's own deadline is the delay
    offDelay: minutes(0),
    advice: "Assume that the feeder is still feeding. If it must stop, go there and switch it off.",
    // A keeper who requested a pause must know that it did not arrive, whatever else is wrong; these two include that.
    explainedBy: ["feedsThoughPaused", "pauseContradicted"],
  },
  chargingInFrost: {
    title: "charging in frost",
    priority: "urgent",
    onDelay: minutes(5),
    offDelay: minutes(30),
    advice:
      "Disconnect the charger until the battery is above 0 °C. Charging lithium cells in frost damages them and can make them dangerous.",
    explainedBy: ["feederSilent"],
    latched: true, // plated lithium stays, and no voltage shows it
  },
  batteryFreezing: {
    title: "battery near freezing",
    priority: "urgent",
    onDelay: minutes(10),
    offDelay: minutes(60),
    advice: "Bring the battery in, or charge it indoors by its maker's instructions. Never charge a frozen battery.",
    explainedBy: ["feederSilent"],
    latched: true, // ice bends plates and cracks the case; it shows only when the battery fails
  },
  foodLow: {
    title: "food low",
    priority: "soon",
    onDelay: minutes(10),
    offDelay: minutes(10),
    advice: "Refill before the time shown.",
    explainedBy: ["feederSilent", "foodOut"],
  },
  reportsUnreadable: {
    title: "reports can't be read",
    priority: "soon",
    onDelay: minutes(0), // each refused report is lost if its sender doesn't store it
    offDelay: minutes(0), // one readable report shows that its program works again
    advice: "Check the feeder's program. The answer to its report gives the reason.",
    explainedBy: ["feederSilent"],
  },
  staysPaused: {
    title: "may still be paused",
    priority: "soon", // nothing is damaged, but the birds find no food
    onDelay: minutes(10), // a keeper who fills it pauses it for some minutes
    offDelay: minutes(0), // its own report, or food, shows that it feeds
    advice: "Resume it, or check whether somebody switched it off at the feeder.",
    explainedBy: ["feederSilent"],
  },
  chuteBlind: {
    title: "chute sensor not working",
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Clean the chute sensor: frost, dust or a stuck kernel hides the food that falls.",
    explainedBy: ["feederSilent"],
  },
  buttonSilent: {
    title: "button not working",
    priority: "soon",
    onDelay: minutes(0), // the sequential test has already waited for enough birds
    offDelay: minutes(0),
    advice: "Press the button and check whether it counts.",
    explainedBy: ["feederSilent", ...faultsStoppingFood],
  },
  detectorSilent: {
    title: "metal detector not working",
    priority: "soon",
    onDelay: minutes(0), // the sequential test has already waited for enough birds
    offDelay: minutes(0),
    advice: "Drop a cap into the slot and check whether it counts. Frost can change its calibration.",
    explainedBy: ["feederSilent", ...faultsStoppingFood],
  },
  perchSilent: {
    title: "perch sensor not working",
    priority: "soon",
    onDelay: minutes(0), // the sequential test has already waited for enough birds
    offDelay: minutes(0),
    advice: "Press the perch down and check whether it counts.",
    explainedBy: ["feederSilent", ...faultsStoppingFood],
  },
  scaleSilent: {
    title: "scale not working",
    priority: "soon",
    onDelay: minutes(10),
    offDelay: minutes(0),
    advice: "Check the load cell's wire. Until then the food level is calculated from portions.",
    explainedBy: ["feederSilent"],
  },
  sensorChattering: {
    title: "sensor counts too much",
    priority: "soon",
    onDelay: minutes(0), // the test that found it has already waited for enough of it
    offDelay: minutes(60),
    advice: "Dry and clean the contact. Damp or a bent spring causes false counts.",
    explainedBy: ["feederSilent"],
  },
  readingStuck: {
    title: "reading stuck",
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(0), // one new value shows that it works
    advice: "Check that sensor's wire. Until it changes, the reading is ignored.",
    explainedBy: ["feederSilent"],
  },
  readingImpossible: {
    title: "reading impossible",
    priority: "soon",
    onDelay: minutes(10),
    offDelay: minutes(30),
    advice: "Check that sensor's wire and plug. The value is impossible outdoors.",
    explainedBy: ["feederSilent"],
  },
  countsBackwards: {
    title: "counter went backwards",
    priority: "note",
    onDelay: minutes(0),
    offDelay: minutes(60),
    advice: "A counter may only increase until a restart. Check the feeder's program or its supply.",
    explainedBy: ["feederSilent", "supplyWeak"],
  },
  supplyWeak: {
    title: "supply voltage low",
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(60),
    advice: "Check supply, plug, wires and battery: the voltage drops while the motor runs.",
    // A stalled motor pulls several times its current, and a battery near freezing is empty and cold.
    explainedBy: ["feederSilent", "motorStalled", "batteryFreezing"],
  },
  detectorDrifting: {
    title: "metal detector misses caps",
    priority: "soon",
    onDelay: minutes(30),
    offDelay: minutes(120),
    advice: "Calibrate the detector or increase its sensitivity, then drop a cap to test it.",
    explainedBy: ["feederSilent", "detectorSilent"],
  },
  bootReused: {
    title: "boot id reused",
    priority: "note", // its starts are distinguished, so that nothing is lost
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Its program must choose a new random boot id at each start. Otherwise reports are refused.",
    explainedBy: ["feederSilent"],
  },
  reportsIrregular: {
    title: "irregular reports",
    priority: "note", // a report sent by hand must not raise an alarm when no other follows
    onDelay: minutes(0), // as for feederSilent
    offDelay: minutes(0),
    advice: "Its program should report regularly, also without events. Then missing reports raise an alarm.",
    explainedBy: [],
  },
  feedCaking: {
    title: "food may cake",
    priority: "note",
    onDelay: minutes(0),
    offDelay: minutes(60),
    advice: "At the next visit, remove the old food, dry the hopper and fill in fresh food.",
    explainedBy: ["feederSilent"],
  },
  iceLock: {
    title: "ice likely on tray and slot",
    priority: "soon",
    onDelay: minutes(15),
    offDelay: minutes(24 * 60), // one cold spell, one alarm, over its nights and days
    advice: "Check tray and slot for ice before sunrise. Keep the food dry.",
    explainedBy: ["feederSilent"],
  },
  frostInside: {
    title: "frost inside",
    priority: "note", // usual weather on a clear damp night, and nothing has to be done tonight
    onDelay: minutes(15),
    offDelay: minutes(24 * 60), // one cold spell, one note
    advice: "Keep the food dry, and check for ice at your next visit.",
    explainedBy: ["feederSilent", "iceLock"],
  },
  troubleReported: {
    title: "problem reported by the feeder",
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(60),
    advice: "Read the feeder's message.",
    explainedBy: ["feederSilent"],
  },
} as const satisfies Record<string, Omit<FaultRule, "explainedBy"> & { readonly explainedBy: readonly string[] }>;

export type FaultKind = keyof typeof faultRules;
export const faultKinds = Object.keys(faultRules) as readonly FaultKind[];
export const ruleOf = (kind: FaultKind): FaultRule => faultRules[kind];

/** At a practice feeder an alarm comes soon, so that a keeper sees quickly what it is like. */
const practiceOnDelayMax = seconds(15);
const practiceOffDelayMax = minutes(60);

/** The rule for this feeder's alarm. */
export function ruleFor(kind: FaultKind, { practice }: { readonly practice: boolean }): FaultRule {
  const rule = ruleOf(kind);
  if (!practice || (rule.onDelay <= practiceOnDelayMax && rule.offDelay <= practiceOffDelayMax)) return rule;
  const atMost = (delay: Span, most: Span): Span => (delay < most ? delay : most);
  return {
    ...rule,
    onDelay: atMost(rule.onDelay, practiceOnDelayMax),
    offDelay: atMost(rule.offDelay, practiceOffDelayMax),
  };
}
