export const feed = {
  /** What is wrong, in a list of what it may be. */
  causes: {
    hopperEmpty: "the hopper is empty",
    feedBridged: "the food is stuck above the tray",
    trayJammed: "the tray is jammed",
    trayPartlyJammed: "the tray is partly jammed",
    motorStalled: "the motor is blocked",
    motorNotTurning: "the motor isn't turning",
    chuteBlind: "the chute sensor is blind",
    chuteHalfBlind: "the chute sensor misses many",
    scaleStuck: "the scale is stuck",
  },
  or: (causes: string, last: string) => `${causes} or ${last}`,

  /** The evidence that no food falls: each begins a sentence. */
  evidence: {
    nothingFell: (portions: number) =>
      `No food was seen to fall in the last ${portions === 1 ? "portion" : `${portions} portions`}`,
    hardlyAnyFalls: "Hardly any portion falls any more",
    fewerCounted: (pieces: string, usual: string) =>
      `Lately about ${pieces} pieces are counted in a portion instead of about ${usual}`,
    countsLess: "The chute sensor counts less than usual",
    notLighter: "The hopper doesn't grow lighter, whatever portions are given",
    byCurrent: "By the motor's current no food is moved",
  },

  /** The newest portion, or the weight after it, spoke for food again. */
  fallsAgain: {
    hopperEmpty: "Food seems to fall again: the next portions will show whether any is left.",
    feedBridged: "Food seems to fall again: the next portions will show whether any is still stuck above the tray.",
    trayJammed: "Food seems to fall again: the next portions will show whether something is still stuck in the tray.",
    unsure: "Food seems to fall again: the next portions will show whether it does.",
  },

  unsure: (evidence: string, causes: string) => `${evidence}: ${causes}.`,
  unsureWithoutLevel: (evidence: string, causes: string) =>
    `${evidence}, and nothing is known about the hopper's level: ${causes}.`,
  calculatedLevel: (range: string) => `The hopper is calculated to hold ${range}.`,
  causeNotClear: "The cause is not clear yet.",
  indistinguishable: {
    thinnedWithoutScale: "Without a scale a dirty chute sensor and a tray that is partly jammed look the same.",
    chuteWithoutScale: "Without a scale a blind chute sensor looks the same.",
    scaleWithoutChute: "Without a chute sensor a stuck scale looks the same.",
    jamWithoutCurrent: "Without the motor's current a jammed tray and a tray without food look the same.",
    jamBeforeCurrentIsKnown:
      "Until the motor's usual current is known, a jammed tray and a tray without food look the same.",
    bridgeWithoutLevel: "Without the hopper's level an empty hopper and bridged food look the same.",
  },

  current: (drawn: string, usual: string) => `${drawn} instead of about ${usual}`,
  motorStalled: (current: string) => `The motor draws ${current}: it is blocked.`,
  motorNotTurning: (current: string) =>
    `The motor was switched on but drew only ${current}: it isn't turning. Likely a wire or plug.`,
  motorWasStalled: "The motor was blocked before the last portion: the next ones will show whether it is free again.",
  motorWasNotTurning:
    "The motor wasn't turning before the last portion: the next ones will show whether it turns again.",
  chuteBlind: (portions: number, proof: string) =>
    `The chute sensor saw nothing of the last ${portions === 1 ? "portion" : `${portions} portions`}, yet ${proof}: food falls, the sensor doesn't see it.`,
  chuteWasBlind:
    "The chute sensor saw nothing of the food that fell before: the next portions will show whether it sees again.",
  chuteMayBeBlind:
    "The chute sensor sees less than fell before: the scale's next readings will show whether food still falls.",
  chuteHalfBlind: (proof: string) =>
    `The chute sensor misses many of the portions lately, yet ${proof}: food falls, the sensor sees only some of it.`,
  chuteSeesLess: (pieces: string, usual: string, proof: string) =>
    `The chute sensor sees less: lately about ${pieces} pieces a portion instead of about ${usual}, yet ${proof}. Likely dirt.`,
  scaleStuckByChute:
    "The chute sensor sees food fall, but the scale doesn't grow lighter by it: the scale is stuck or broken.",
  scaleStuckByMotor:
    "The scale doesn't grow lighter by the portions given, but the motor draws what it does with food on the tray: the scale is stuck or broken.",
  scaleStuckByPortions:
    "The scale doesn't grow lighter by the portions given, as it did before: the scale is likely stuck or broken.",
  /** Why food must fall. */
  proof: {
    lighterAndCurrent: "the hopper grew lighter and the motor works as with food",
    lighter: "the hopper grew lighter by about as much",
    current: "the motor draws what it does with food on the tray",
    currents: "over these portions the motor drew about what it does with food on the tray",
    others: "others between them were seen as usual",
  },

  notEmpty: (evidence: string, mass: string) => `${evidence}, and the hopper isn't empty (about ${mass})`,
  trayJammed: {
    reason: (evidence: string) => `${evidence}: something is stuck in the tray.`,
    reasonWithCurrent: (evidence: string, current: string) =>
      `${evidence}. The motor turns, it draws ${current}: something is stuck in the tray.`,
  },
  trayPartlyJammed: {
    weighed: (evidence: string) =>
      `${evidence}, and the hopper grows lighter by less than it should: something is stuck in the tray, only a part of each portion falls.`,
    counted: (evidence: string) => `${evidence}: something is stuck in the tray, only a part of each portion falls.`,
  },
  feedBridged: {
    reason: (evidence: string) => `${evidence}: the tray turns without food, the food is stuck above it.`,
    reasonWithCurrent: (evidence: string, current: string) =>
      `${evidence}. The motor turns lightly, it draws ${current}: the tray turns without food, the food is stuck above it.`,
  },
  hopperEmpty: {
    unknownLevel: (evidence: string) => `${evidence}: the food has run out.`,
    empty: (evidence: string, mass: string) => `${evidence}: the hopper is empty (at most ${mass} left).`,
    nearlyEmpty: (evidence: string, range: string) =>
      `${evidence}, and by calculation the hopper is nearly empty (${range}): the food has run out.`,
  },

  labels: {
    uncounted: "portions in a row without food",
    lastFell: "food last seen to fall",
    motorCurrent: "motor current",
    weight: "weight by the scale",
    level: "in the hopper at the last portion",
    noticed: "detected",
  },
  byChuteSensor: "by the chute sensor",
  byAllSensors: "by all sensors together",
  currentBeside: (drawn: string, usual: string) => `${drawn}, usually ${usual}`,
  levelUnknown: "not known",

  unpaid: {
    nothingFell: {
      press: "A press got no portion: the motor ran, but no food was seen to fall.",
      deposit: "A deposit got no portion: the motor ran, but no food was seen to fall.",
    },
    cutShort: {
      press: "A press got no portion: the portion was interrupted.",
      deposit: "A deposit got no portion: the portion was interrupted.",
    },
    noPortion: { press: "A press got no portion.", deposit: "A deposit got no portion." },
    inARow: (count: number) => `${count} in a row.`,
    label: {
      press: (seq: number) => `press ${seq}`,
      deposit: (seq: number) => `deposit ${seq}`,
    },
    value: {
      nothingFell: "answered, nothing fell",
      cutShort: "portion interrupted",
      noPortion: "no portion",
    },
  },
};
