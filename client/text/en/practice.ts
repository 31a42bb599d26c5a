/** What each practice fault is called, and what to expect; an alarm is named in quotes by its title. */
export const practiceFaultTexts = {
  none: { title: "No fault", outcome: "Normal visits, deposits and portions. Earlier faults end." },
  hopperEmpty: { title: "Hopper runs empty", outcome: "The last food falls: alarm “hopper empty”." },
  trayJammed: {
    title: "Tray jams",
    outcome: "The motor works a little harder and nothing falls, with food in the hopper: alarm “tray jammed”.",
  },
  feedBridged: {
    title: "Food sticks above the tray",
    outcome: "The tray turns without food under a full hopper, and nothing falls: alarm “food stuck above the tray”.",
  },
  motorStalled: {
    title: "Motor stalls",
    outcome: "It draws far more current than usual and doesn't turn: alarm “motor stalled”.",
  },
  wireOff: {
    title: "Wire comes off the motor",
    outcome: "It is switched on but draws no current: alarm “motor not turning”.",
  },
  chuteBlind: {
    title: "Chute sensor fails",
    outcome: "The hopper gets lighter but the chute counts nothing: alarm “chute sensor not working”, and no jam.",
  },
  buttonDead: {
    title: "Button fails",
    outcome: "Birds come to the perch and none seems to press: alarm “button not working”.",
  },
  detectorDead: {
    title: "Metal detector fails",
    outcome: "Caps fall through the slot uncounted: alarm “metal detector not working”.",
  },
  scaleDead: {
    title: "Scale fails",
    outcome: "The food level is calculated and becomes less certain: alarm “scale not working”.",
  },
  silent: {
    title: "No reports from the feeder",
    outcome: "No more reports: only one alarm, “no reports”.",
  },
  coldNight: {
    title: "Cold, damp night",
    outcome: "Dew wets the box and freezes: alarm “ice likely on tray and slot”, before the first birds come.",
  },
  weakBattery: {
    title: "Battery low in hard frost",
    outcome: "A lead-acid battery that is nearly flat can freeze: alarm “battery near freezing”.",
  },
  chargingInFrost: {
    title: "Charging in frost",
    outcome: "Current flows into a lithium battery below 0 °C: alarm “charging in frost”.",
  },
  ignoresOrders: {
    title: "Feeder ignores orders",
    outcome: "Pause it: the pause is not confirmed, alarm “pause not confirmed”.",
  },
} as const;

export const noFaultChosenText = "Both practice feeders work normally from now on. Alarms end within a few minutes.";
export const faultChosenText = (feeder: string, fault: string) =>
  `${feeder}: ${fault}. Its alarm takes up to about two minutes.`;
export const pauseToSeeText = (feeder: string, fault: string) =>
  `${feeder}: ${fault}. Pause it now. The alarm comes about two minutes later.`;
