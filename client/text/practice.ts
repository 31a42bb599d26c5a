import type { PracticeFault } from "../../server/contract/api.ts";

interface PracticeText {
  readonly title: string;
  /** What the keeper may expect to see; the alarm by the name it will have. */
  readonly outcome: string;
  /** The practice feeder that will show it, as the server chooses it; null where both are well. */
  readonly feeder: "Rowan" | "Larch" | null;
}

/** What to call a practice fault, what comes of it, and where. */
export const practiceFaultText: Readonly<Record<PracticeFault, PracticeText>> = {
  none: {
    title: "Nothing wrong",
    outcome: "Visits, deposits and paid portions, as on a good day. What was wrong is over again.",
    feeder: null,
  },
  hopperEmpty: {
    title: "The hopper runs out",
    outcome: "The last crumbs fall, then nothing: “food out”.",
    feeder: "Rowan",
  },
  trayJammed: {
    title: "The tray jams",
    outcome: "The motor works a little harder and nothing falls, with food in the hopper: “tray jammed”.",
    feeder: "Rowan",
  },
  feedBridged: {
    title: "The food bridges over the tray",
    outcome: "The tray turns empty and light under a full hopper, and nothing falls: “food bridged”.",
    feeder: "Rowan",
  },
  motorStalled: {
    title: "The motor stalls",
    outcome: "It draws far more current than usual and doesn't turn: “motor stalled”.",
    feeder: "Rowan",
  },
  wireOff: {
    title: "A wire comes off the motor",
    outcome: "It is told to turn and draws no current: “motor not turning”.",
    feeder: "Rowan",
  },
  chuteBlind: {
    title: "The chute sensor goes blind",
    outcome: "The hopper grows lighter but the chute counts nothing: “chute sensor blind”, and no jam.",
    feeder: "Rowan",
  },
  buttonDead: {
    title: "The button dies",
    outcome: "Birds come to the perch and none seems to press: “button silent”.",
    feeder: "Rowan",
  },
  detectorDead: {
    title: "The metal detector goes deaf",
    outcome: "Caps fall through the slot uncounted: “detector silent”.",
    feeder: "Rowan",
  },
  scaleDead: {
    title: "The scale dies",
    outcome: "The level goes on by calculation, with growing uncertainty: “scale silent”.",
    feeder: "Rowan",
  },
  silent: {
    title: "The feeder falls silent",
    outcome: "No report comes any more: one alarm, “feeder silent”, and not five.",
    feeder: "Rowan",
  },
  coldNight: {
    title: "A cold, damp night",
    outcome: "Dew wets the box and freezes: “ice on tray and slot likely”, so that you look before the first birds.",
    feeder: "Rowan",
  },
  weakBattery: {
    title: "The battery sinks in deep frost",
    outcome: "A lead-acid battery that is nearly flat can freeze: “battery near freezing”.",
    feeder: "Larch",
  },
  chargingInFrost: {
    title: "The charger works in frost",
    outcome: "Current flows into a lithium battery below 0 °C: “charging in frost”.",
    feeder: "Rowan",
  },
  ignoresOrders: {
    title: "The feeder ignores orders",
    outcome: "Ask it for a pause and watch that go overdue: “pause not confirmed”.",
    feeder: "Rowan",
  },
};

/** What was chosen last, and what to wait for. */
export function chosenFaultText(fault: PracticeFault): string {
  const { title, feeder } = practiceFaultText[fault];
  if (feeder === null)
    return "Both practice feeders are well from now on. An alarm that stood is over within some minutes.";
  const what = `${feeder}: ${title.charAt(0).toLowerCase()}${title.slice(1)}.`;
  return fault === "ignoresOrders"
    ? `${what} Ask it for a pause now; the alarm comes about two minutes later.`
    : `${what} Its alarm takes up to about two minutes.`;
}
