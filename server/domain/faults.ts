import { texts } from "../text/index.ts";
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
  /** What the keeper can do from afar or enter at once, where the advice names it. */
  readonly act?: "refill" | "pause";
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
export const faultsStoppingFood = [
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
    ...texts.faults.feederSilent,
    priority: "urgent",
    onDelay: minutes(0), // the time without reports is the delay: its length is learnt (silence/)
    offDelay: minutes(0), // one report shows that it works again
    explainedBy: [],
  },
  motorNotTurning: {
    ...texts.faults.motorNotTurning,
    act: "pause",
    priority: "urgent",
    onDelay: minutes(0), // the sequential test that found it has already waited for enough portions
    offDelay: minutes(0),
    explainedBy: ["feederSilent", "supplyWeak"],
  },
  motorStalled: {
    ...texts.faults.motorStalled,
    act: "pause",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    explainedBy: ["feederSilent"],
  },
  foodOut: {
    ...texts.faults.foodOut,
    act: "refill",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    explainedBy: ["feederSilent"],
  },
  trayJammed: {
    ...texts.faults.trayJammed,
    act: "pause",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "foodOut"],
  },
  feedBridged: {
    ...texts.faults.feedBridged,
    act: "pause",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "foodOut", "trayJammed"],
  },
  feedStopped: {
    ...texts.faults.feedStopped,
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "foodOut", "trayJammed", "feedBridged"],
  },
  depositUnpaid: {
    ...texts.faults.depositUnpaid,
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(30),
    // A board that restarts during a portion because of low voltage has lost the deposit to pay for.
    explainedBy: ["feederSilent", ...faultsStoppingFood, "supplyWeak"],
  },
  feedsThoughPaused: {
    ...texts.faults.feedsThoughPaused,
    priority: "urgent",
    onDelay: minutes(0), // one portion after its own confirmation is enough
    offDelay: minutes(30), // a feeder that does it repeatedly is one alarm
    explainedBy: [], // a keeper who requested a pause must know that it isn't followed, whatever else is wrong
  },
  pauseContradicted: {
    ...texts.faults.pauseContradicted,
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(30),
    explainedBy: ["feedsThoughPaused"],
  },
  pauseOverdue: {
    ...texts.faults.pauseOverdue,
    priority: "urgent",
    onDelay: minutes(0), // the order's own deadline is the delay
    offDelay: minutes(0),
    // A keeper who requested a pause must know that it did not arrive, whatever else is wrong; these two include that.
    explainedBy: ["feedsThoughPaused", "pauseContradicted"],
  },
  chargingInFrost: {
    ...texts.faults.chargingInFrost,
    priority: "urgent",
    onDelay: minutes(5),
    offDelay: minutes(30),
    explainedBy: ["feederSilent"],
    latched: true, // plated lithium stays, and no voltage shows it
  },
  batteryFreezing: {
    ...texts.faults.batteryFreezing,
    priority: "urgent",
    onDelay: minutes(10),
    offDelay: minutes(60),
    explainedBy: ["feederSilent"],
    latched: true, // ice bends plates and cracks the case; it shows only when the battery fails
  },
  paymentUnclear: {
    ...texts.faults.paymentUnclear,
    priority: "soon", // nothing that is known of this feeder was broken
    onDelay: minutes(0),
    offDelay: minutes(30),
    explainedBy: ["feederSilent", ...faultsStoppingFood, "supplyWeak", "depositUnpaid"],
  },
  foodLow: {
    ...texts.faults.foodLow,
    act: "refill",
    priority: "soon",
    onDelay: minutes(10),
    offDelay: minutes(10),
    explainedBy: ["feederSilent", "foodOut"],
  },
  reportsUnreadable: {
    ...texts.faults.reportsUnreadable,
    priority: "soon",
    onDelay: minutes(0), // each refused report is lost if its sender doesn't store it
    offDelay: minutes(0), // one readable report shows that its program works again
    explainedBy: ["feederSilent"],
  },
  staysPaused: {
    ...texts.faults.staysPaused,
    priority: "soon", // nothing is damaged, but the birds find no food
    onDelay: minutes(10), // a keeper who fills it pauses it for some minutes
    offDelay: minutes(0), // its own report, or food, shows that it feeds
    explainedBy: ["feederSilent"],
  },
  chuteBlind: {
    ...texts.faults.chuteBlind,
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(0),
    explainedBy: ["feederSilent"],
  },
  buttonSilent: {
    ...texts.faults.buttonSilent,
    priority: "soon",
    onDelay: minutes(0), // the sequential test has already waited for enough birds
    offDelay: minutes(0),
    explainedBy: ["feederSilent", ...faultsStoppingFood],
  },
  detectorSilent: {
    ...texts.faults.detectorSilent,
    priority: "soon",
    onDelay: minutes(0), // the sequential test has already waited for enough birds
    offDelay: minutes(0),
    explainedBy: ["feederSilent", ...faultsStoppingFood],
  },
  perchSilent: {
    ...texts.faults.perchSilent,
    priority: "soon",
    onDelay: minutes(0), // the sequential test has already waited for enough birds
    offDelay: minutes(0),
    explainedBy: ["feederSilent", ...faultsStoppingFood],
  },
  scaleSilent: {
    ...texts.faults.scaleSilent,
    priority: "soon",
    onDelay: minutes(10),
    offDelay: minutes(0),
    explainedBy: ["feederSilent"],
  },
  sensorChattering: {
    ...texts.faults.sensorChattering,
    priority: "soon",
    onDelay: minutes(0), // the test that found it has already waited for enough of it
    offDelay: minutes(60),
    explainedBy: ["feederSilent"],
  },
  readingStuck: {
    ...texts.faults.readingStuck,
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(0), // one new value shows that it works
    explainedBy: ["feederSilent"],
  },
  readingImpossible: {
    ...texts.faults.readingImpossible,
    priority: "soon",
    onDelay: minutes(10),
    offDelay: minutes(30),
    explainedBy: ["feederSilent"],
  },
  countsBackwards: {
    ...texts.faults.countsBackwards,
    priority: "note",
    onDelay: minutes(0),
    offDelay: minutes(60),
    explainedBy: ["feederSilent", "supplyWeak"],
  },
  supplyWeak: {
    ...texts.faults.supplyWeak,
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(60),
    // A stalled motor pulls several times its current, and a battery near freezing is empty and cold.
    explainedBy: ["feederSilent", "motorStalled", "batteryFreezing"],
  },
  freeFoodMissed: {
    ...texts.faults.freeFoodMissed,
    priority: "soon",
    onDelay: minutes(0), // two times of the plan and a quarter of an hour have passed
    offDelay: minutes(60),
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "supplyWeak"],
  },
  planNotTaken: {
    ...texts.faults.planNotTaken,
    priority: "soon",
    onDelay: minutes(0), // it had its time to answer
    offDelay: minutes(0),
    explainedBy: ["feederSilent"],
  },
  detectorDrifting: {
    ...texts.faults.detectorDrifting,
    priority: "soon",
    onDelay: minutes(30),
    offDelay: minutes(120),
    explainedBy: ["feederSilent", "detectorSilent"],
  },
  bootReused: {
    ...texts.faults.bootReused,
    priority: "note", // its starts are distinguished, so that nothing is lost
    onDelay: minutes(0),
    offDelay: minutes(0),
    explainedBy: ["feederSilent"],
  },
  reportsIrregular: {
    ...texts.faults.reportsIrregular,
    priority: "note", // a report sent by hand must not raise an alarm when no other follows
    onDelay: minutes(0), // as for feederSilent
    offDelay: minutes(0),
    explainedBy: [],
  },
  feedCaking: {
    ...texts.faults.feedCaking,
    priority: "note",
    onDelay: minutes(0),
    offDelay: minutes(60),
    explainedBy: ["feederSilent"],
  },
  iceLock: {
    ...texts.faults.iceLock,
    priority: "soon",
    onDelay: minutes(15),
    offDelay: minutes(24 * 60), // one cold spell, one alarm, over its nights and days
    explainedBy: ["feederSilent"],
  },
  frostInside: {
    ...texts.faults.frostInside,
    priority: "note", // usual weather on a clear damp night, and nothing has to be done tonight
    onDelay: minutes(15),
    offDelay: minutes(24 * 60), // one cold spell, one note
    explainedBy: ["feederSilent", "iceLock"],
  },
  troubleReported: {
    ...texts.faults.troubleReported,
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(60),
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
