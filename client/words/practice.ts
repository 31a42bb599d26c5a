import type { PracticeFault } from "../../server/contract/api.ts";

/** What to call a practice fault, and what the keeper may expect to see. */
export const practiceWords: Readonly<Record<PracticeFault, { readonly title: string; readonly outcome: string }>> = {
  none: { title: "Nothing wrong", outcome: "Visits, deposits and paid portions, as on a good day." },
  empty: { title: "The hopper runs out", outcome: "Portions turn but nothing falls and the weight stays: “food out”." },
  jam: {
    title: "The tray jams",
    outcome: "The motor works hard and nothing falls, with food in the hopper: “tray jammed”.",
  },
  stall: { title: "The motor stalls", outcome: "The current stays at its peak: “motor stalled”, before it overheats." },
  wireOff: {
    title: "A wire comes off the motor",
    outcome: "It is told to turn and draws no current: “motor not turning”.",
  },
  chuteBlind: {
    title: "The chute sensor goes blind",
    outcome: "The hopper grows lighter but the chute counts nothing: “chute sensor blind”, and no jam.",
  },
  buttonDead: {
    title: "The button dies",
    outcome: "Birds come and eat but never press: “button silent”, after some hours.",
  },
  detectorDeaf: {
    title: "The metal detector goes deaf",
    outcome: "Caps fall through the slot uncounted: “detector silent”, after some hours.",
  },
  scaleDead: {
    title: "The scale dies",
    outcome: "The level goes on by reckoning, with growing doubt: “scale silent”.",
  },
  silent: {
    title: "The feeder falls silent",
    outcome: "No report comes any more: one alarm, “feeder silent”, and not five.",
  },
  coldNight: {
    title: "A cold, wet night",
    outcome: "Frost forms inside: “frost inside”, so that you look before the first birds.",
  },
  weakBattery: { title: "The battery sinks", outcome: "Its margin to freezing shrinks: “battery near freezing”." },
  chargingInFrost: {
    title: "The charger works in frost",
    outcome: "Current flows into a battery below 0 °C: “charging in frost”.",
  },
  deafToOrders: {
    title: "The feeder ignores orders",
    outcome: "Ask for a pause and watch it go overdue: “pause not confirmed”.",
  },
};
