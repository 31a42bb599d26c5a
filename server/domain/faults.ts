import { type Instant, minutes, type Span, seconds } from "./instant.ts";
import type { Probability } from "./units.ts";

/** A fault is what is wrong now; an alarm (alarms/) is what we tell about it. */
export interface Fault {
  readonly kind: FaultKind;
  /** One or two plain sentences for the keeper: what is wrong and by what signs we know. */
  readonly reason: string;
  /** The very numbers behind the reason, for whoever wants to check it. */
  readonly evidence: readonly Evidence[];
  /** How sure the test that found it is; null where the fault is a plain fact and no inference. */
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
  /** How long the fault must persist before it is told (ISA-18.2 on-delay). */
  readonly onDelay: Span;
  /** How long it must stay away before the alarm returns to normal (ISA-18.2 off-delay). */
  readonly offDelay: Span;
  /** What the keeper can do about it, in one sentence. */
  readonly advice: string;
  /**
   * While one of these stands, this fault is its consequence and raises no alarm of its own. A cause must be sure to do this
   * and not only able to: what the weather makes likely (ice, caking) explains no jam that a portion has proved, whose own
   * words mention the ice. No chain of causes may come back to itself.
   */
  readonly explainedBy: readonly FaultKind[];
  /**
   * It may have done lasting damage: when it is gone the alarm waits until somebody has looked at the thing itself and says so
   * (ISA-18.2, "latched"). Only where nothing that is measured afterwards would show the damage. A motor that was stalled and
   * gives portions again has proved itself, and so has a hopper, a sensor or a line.
   */
  readonly latched?: true;
}

/** No food reaches the birds: they leave by and by, and then a sensor that waits for them is quiet for no fault of its own. */
const faultsStoppingFood = [
  "motorNotTurning",
  "motorStalled",
  "foodOut",
  "trayJammed",
  "feedBridged",
  "feedStopped",
] as const;

/**
 * Every fault Pieward can name, the gravest first. Adding one: a line here, a finder in its room, a planted fault
 * in the room's tests. The delays are common practice, no source; ISA-18.2 only says that each alarm needs its own.
 */
export const faultRules = {
  feederSilent: {
    title: "feeder silent",
    priority: "urgent",
    onDelay: minutes(0), // the silence itself is the delay: its length is learnt (silence/)
    offDelay: minutes(0), // one report proves that it speaks again
    advice: "Check its power and its network. Until it is heard again nothing else about it is known.",
    explainedBy: [],
  },
  motorNotTurning: {
    title: "motor not turning",
    priority: "urgent",
    onDelay: minutes(0), // the sequential test that found it has already waited for enough portions
    offDelay: minutes(0),
    advice: "Pause the feeder, then look at the motor's wire and plug with the power off.",
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
    title: "food out",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Refill the hopper, or pause the feeder so that no deposit goes unpaid.",
    explainedBy: ["feederSilent"],
  },
  trayJammed: {
    title: "tray jammed",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Pause the feeder, then loosen the food in the tray. In frost, look for ice first.",
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "foodOut"],
  },
  feedBridged: {
    title: "food bridged",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice:
      "Pause the feeder, then stir the food from above until it falls onto the tray again. Damp or caked food bridges: take it out.",
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "foodOut", "trayJammed"],
  },
  feedStopped: {
    title: "no food falls",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Look at the hopper and the tray: it is empty or jammed, and the sensors it has can't tell which.",
    explainedBy: ["feederSilent", "motorNotTurning", "motorStalled", "foodOut", "trayJammed", "feedBridged"],
  },
  depositUnpaid: {
    title: "deposit not paid",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(30),
    advice: "Find out why before the birds stop believing: the alarms beside this one may say.",
    // A board that starts anew in the middle of a portion, for want of tension, has forgotten what it owed.
    explainedBy: ["feederSilent", ...faultsStoppingFood, "supplyWeak"],
  },
  feedsThoughPaused: {
    title: "gives food though paused",
    priority: "urgent",
    onDelay: minutes(0), // one portion after its own confirmation is proof
    offDelay: minutes(30), // a feeder that does it again and again is one alarm
    advice: "Take it that the feeder feeds. If it must stop, go there and switch it off.",
    explainedBy: [], // a keeper who asked for a stop must know that it isn't kept, whatever else is wrong
  },
  pauseContradicted: {
    title: "pause not kept",
    priority: "urgent",
    onDelay: minutes(0),
    offDelay: minutes(30),
    advice: "Take it that the feeder feeds. If it must stop, go there and switch it off.",
    explainedBy: ["feedsThoughPaused"],
  },
  pauseOverdue: {
    title: "pause not confirmed",
    priority: "urgent",
    onDelay: minutes(0), // the order's own deadline is the delay
    offDelay: minutes(0),
    advice: "Take it that the feeder is still feeding. If it must stop, go there and switch it off.",
    // A keeper who asked for a stop must hear that it did not arrive, whatever else is wrong; these two say that and more.
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
    latched: true, // plated lithium stays, and no tension tells of it
  },
  batteryFreezing: {
    title: "battery near freezing",
    priority: "urgent",
    onDelay: minutes(10),
    offDelay: minutes(60),
    advice: "Bring the battery in or charge it indoors by its maker's instructions. Never charge a frozen battery.",
    explainedBy: ["feederSilent"],
    latched: true, // ice bends plates and cracks the case; it shows when the battery fails
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
    onDelay: minutes(0), // each refused report loses what it brought, if its sender doesn't keep it
    offDelay: minutes(0), // one readable report proves that it speaks the language again
    advice:
      "Look at the feeder's program: the answer to its report says the same. Until then nothing new is known of it.",
    explainedBy: ["feederSilent"],
  },
  staysPaused: {
    title: "may still be paused",
    priority: "soon", // nothing is harmed, but the birds find nothing where they were promised food
    onDelay: minutes(10), // whoever fills it by hand pauses it for some minutes
    offDelay: minutes(0), // its own word, or food, proves that it feeds
    advice: "Resume it, or look at the feeder whether somebody has switched it off by hand.",
    explainedBy: ["feederSilent"],
  },
  chuteBlind: {
    title: "chute sensor blind",
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice: "Clean the chute sensor: frost, dust or a stuck kernel hides the food that falls.",
    explainedBy: ["feederSilent"],
  },
  buttonSilent: {
    title: "button silent",
    priority: "soon",
    onDelay: minutes(0), // the sequential test has already waited for enough birds
    offDelay: minutes(0),
    advice: "Press the button yourself and see whether it counts.",
    explainedBy: ["feederSilent", ...faultsStoppingFood],
  },
  detectorSilent: {
    title: "detector silent",
    priority: "soon",
    onDelay: minutes(0), // the sequential test has already waited for enough birds
    offDelay: minutes(0),
    advice: "Drop a cap into the slot yourself and see whether it counts. Frost moves a detector's zero.",
    explainedBy: ["feederSilent", ...faultsStoppingFood],
  },
  perchSilent: {
    title: "perch sensor silent",
    priority: "soon",
    onDelay: minutes(0), // the sequential test has already waited for enough birds
    offDelay: minutes(0),
    advice: "Press the perch down yourself and see whether it counts.",
    explainedBy: ["feederSilent", ...faultsStoppingFood],
  },
  scaleSilent: {
    title: "scale silent",
    priority: "soon",
    onDelay: minutes(10),
    offDelay: minutes(0),
    advice: "Look at the load cell's wire. Until it speaks, the hopper is reckoned from portions alone.",
    explainedBy: ["feederSilent"],
  },
  sensorChattering: {
    title: "sensor chattering",
    priority: "soon",
    onDelay: minutes(0), // the test that found it has already waited for enough of it
    offDelay: minutes(60),
    advice: "Dry and clean the contact: damp or a bent spring makes it count what no bird did.",
    explainedBy: ["feederSilent"],
  },
  readingStuck: {
    title: "reading stuck",
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(0), // one new value proves that it lives
    advice: "Look at that sensor's wire. Until it changes again nothing is concluded from it.",
    explainedBy: ["feederSilent"],
  },
  readingImpossible: {
    title: "reading impossible",
    priority: "soon",
    onDelay: minutes(10),
    offDelay: minutes(30),
    advice: "Look at that sensor's wire and plug: no such value exists outdoors.",
    explainedBy: ["feederSilent"],
  },
  countsBackwards: {
    title: "count ran backwards",
    priority: "note",
    onDelay: minutes(0),
    offDelay: minutes(60),
    advice: "Look at the feeder's program or its supply: a running total must only grow until it starts anew.",
    explainedBy: ["feederSilent", "supplyWeak"],
  },
  supplyWeak: {
    title: "supply weak",
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(60),
    advice: "Look at supply, plug and wires, and at the battery: the tension breaks down while the motor runs.",
    // A stalled motor pulls several times its current, and a battery near freezing is empty and cold.
    explainedBy: ["feederSilent", "motorStalled", "batteryFreezing"],
  },
  detectorDrifting: {
    title: "detector drifting",
    priority: "soon",
    onDelay: minutes(30),
    offDelay: minutes(120),
    advice:
      "Let the detector find its zero again, or turn up its sensitivity, and drop a cap yourself to see whether it counts.",
    explainedBy: ["feederSilent", "detectorSilent"],
  },
  bootReused: {
    title: "boot id used again",
    priority: "note", // its starts are told apart, so that nothing is lost
    onDelay: minutes(0),
    offDelay: minutes(0),
    advice:
      "Let its program choose a new random boot id at each start: where its starts can't be told apart, reports are refused.",
    explainedBy: ["feederSilent"],
  },
  reportsIrregular: {
    title: "not reporting regularly",
    priority: "note", // whoever sends a report by hand is owed no alarm for not sending the next
    onDelay: minutes(0), // as for feederSilent
    offDelay: minutes(0),
    advice:
      "Let its program report by itself, also when nothing happens; from then on you are told when it falls silent.",
    explainedBy: [],
  },
  feedCaking: {
    title: "food may cake",
    priority: "note",
    onDelay: minutes(0),
    offDelay: minutes(60),
    advice: "Take out the old food, dry the hopper and put in fresh food with the next visit.",
    explainedBy: ["feederSilent"],
  },
  iceLock: {
    title: "ice on tray and slot likely",
    priority: "soon",
    onDelay: minutes(15),
    offDelay: minutes(24 * 60), // one cold spell, one alarm: the nights of a spell come by turns with its days
    advice: "Look for ice on tray and slot before the morning's first birds; keep the food dry.",
    explainedBy: ["feederSilent"],
  },
  frostInside: {
    title: "frost inside",
    priority: "note", // ordinary weather on a clear damp night, and nothing to be done about it tonight
    onDelay: minutes(15),
    offDelay: minutes(24 * 60), // one cold spell, one note
    advice: "Keep the food dry, and look for ice when you next come by.",
    explainedBy: ["feederSilent", "iceLock"],
  },
  troubleReported: {
    title: "feeder reports trouble",
    priority: "soon",
    onDelay: minutes(0),
    offDelay: minutes(60),
    advice: "Read the feeder's own words.",
    explainedBy: ["feederSilent"],
  },
} as const satisfies Record<string, Omit<FaultRule, "explainedBy"> & { readonly explainedBy: readonly string[] }>;

export type FaultKind = keyof typeof faultRules;
export const faultKinds = Object.keys(faultRules) as readonly FaultKind[];
export const ruleOf = (kind: FaultKind): FaultRule => faultRules[kind];

/** At a practice feeder nobody wants to wait a quarter of an hour to see what an alarm looks like. */
const practiceOnDelayMax = seconds(15);
const practiceOffDelayMax = minutes(60);

/** The rule by which this very feeder's alarm is advanced. */
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
