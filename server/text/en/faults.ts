/** Each fault: what an alarm is titled, and what the keeper can do about it. */
export const faults = {
  feederSilent: {
    title: "no reports",
    advice: "Check its power and network. Nothing else is known until it reports again.",
  },
  motorNotTurning: {
    title: "motor not turning",
    advice: "Pause the feeder, then check the motor's wire and plug with the power off.",
  },
  motorStalled: {
    title: "motor stalled",
    advice: "Pause the feeder before the motor overheats, then free the tray.",
  },
  foodOut: {
    title: "hopper empty",
    advice: "Refill the hopper, or pause the feeder so that birds do not bring caps without a reward.",
  },
  trayJammed: {
    title: "tray jammed",
    advice: "Pause the feeder, then loosen the food in the tray. In frost, check for ice first.",
  },
  feedBridged: {
    title: "food stuck above the tray",
    advice:
      "Pause the feeder, then stir the food from above until it falls onto the tray again. Remove damp or caked food.",
  },
  feedStopped: {
    title: "no food falls",
    advice: "Check for the causes named, the likeliest first. The sensors can't show which it is.",
  },
  depositUnpaid: {
    title: "deposit without a portion",
    advice: "Find the cause soon, or the birds stop coming. See the other alarms.",
  },
  paymentUnclear: {
    title: "no portion, perhaps by the feeder's own rule",
    advice:
      "If the feeder's own program has a ration for the day or pays only some, nothing is wrong. Otherwise find the cause today.",
  },
  feedsThoughPaused: {
    title: "feeding while paused",
    advice: "Assume that it is feeding. If it must stop, go there and switch it off.",
  },
  pauseContradicted: {
    title: "pause not followed",
    advice: "Assume that it is feeding. If it must stop, go there and switch it off.",
  },
  pauseOverdue: {
    title: "pause not confirmed",
    advice: "Assume that the feeder is still feeding. If it must stop, go there and switch it off.",
  },
  chargingInFrost: {
    title: "charging in frost",
    advice:
      "Disconnect the charger until the battery is above 0 °C. Charging lithium cells in frost damages them and can make them dangerous.",
  },
  batteryFreezing: {
    title: "battery near freezing",
    advice: "Bring the battery in, or charge it indoors by its maker's instructions. Never charge a frozen battery.",
  },
  foodLow: {
    title: "food low",
    advice: "Refill before the time shown.",
  },
  reportsUnreadable: {
    title: "reports can't be read",
    advice: "Check the feeder's program. The answer to its report gives the reason.",
  },
  staysPaused: {
    title: "may still be paused",
    advice: "Resume it, or check whether somebody switched it off at the feeder.",
  },
  chuteBlind: {
    title: "chute sensor not working",
    advice: "Clean the chute sensor: frost, dust or a stuck kernel hides the food that falls.",
  },
  buttonSilent: {
    title: "button not working",
    advice: "Press the button and check whether it counts.",
  },
  detectorSilent: {
    title: "metal detector not working",
    advice: "Drop a cap into the slot and check whether it counts. Frost can change its calibration.",
  },
  perchSilent: {
    title: "perch sensor not working",
    advice: "Press the perch down and check whether it counts.",
  },
  scaleSilent: {
    title: "scale not working",
    advice: "Check the load cell's wire. Until then the food level is calculated from portions.",
  },
  sensorChattering: {
    title: "sensor counts too much",
    advice: "Dry and clean the contact. Damp or a bent spring causes false counts.",
  },
  readingStuck: {
    title: "reading stuck",
    advice: "Check that sensor's wire. Until it changes, the reading is ignored.",
  },
  readingImpossible: {
    title: "reading impossible",
    advice: "Check that sensor's wire and plug. The value is impossible outdoors.",
  },
  countsBackwards: {
    title: "counter went backwards",
    advice: "A counter may only increase until a restart. Check the feeder's program or its supply.",
  },
  supplyWeak: {
    title: "supply voltage low",
    advice: "Check supply, plug, wires and battery: the voltage drops while the motor runs.",
  },
  freeFoodMissed: {
    title: "free food not given",
    advice: "Check its power and its motor. Birds that find nothing come less often.",
  },
  planNotTaken: {
    title: "feeding plan not followed",
    advice: "Check that the feeder's program knows feeding plans; until it does, it feeds by its own rules.",
  },
  detectorDrifting: {
    title: "metal detector misses caps",
    advice: "Calibrate the detector or increase its sensitivity, then drop a cap to test it.",
  },
  bootReused: {
    title: "boot id reused",
    advice: "Its program must choose a new random boot id at each start. Otherwise reports are refused.",
  },
  reportsIrregular: {
    title: "irregular reports",
    advice: "Its program should report regularly, also without events. Then missing reports raise an alarm.",
  },
  feedCaking: {
    title: "food may cake",
    advice: "At the next visit, remove the old food, dry the hopper and fill in fresh food.",
  },
  iceLock: {
    title: "ice likely on tray and slot",
    advice: "Check tray and slot for ice before sunrise. Keep the food dry.",
  },
  frostInside: {
    title: "frost inside",
    advice: "Keep the food dry, and check for ice at your next visit.",
  },
  troubleReported: {
    title: "problem reported by the feeder",
    advice: "Read the feeder's message.",
  },
};
