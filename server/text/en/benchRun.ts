const times = (count: number) => (count === 1 ? "once" : `${count} times`);

export const benchRun = {
  labels: {
    motorRuns: "Motor runs",
    portion: "Grams a portion",
    spread: "Spread of a portion",
    empty: "Empty portions",
    held: "Motor held",
    caps: "Caps missed by the detector",
    falseHits: "False hits of the detector",
    presses: "Presses missed by the button",
    falsePresses: "False presses of the button",
    pay: "From the act to the food",
    knownMass: "Load cell with a known mass",
    heartbeats: "Missed reports",
    restarts: "Restarts",
    supply: "Supply while the motor runs",
    soak: "Soak",
    temperature: "Temperature",
  },

  /** A share of faults. "2 of 60; may be as many as 11.4 %" */
  share: (faults: number, of: number, most: string) => `${faults} of ${of}; may be as many as ${most} %`,
  shareLimit: (seen: string, possible: string) => `at most ${seen} seen, and no more than ${possible} possible`,
  noneTried: "Not tried.",
  tooMany: (seen: string) => `More than ${seen}.`,
  tooFew: (most: string) => `Too few were tried: as many as ${most} % are still possible. Repeat the run with more.`,
  notFitted: "Not fitted.",

  runsGiven: (given: number, planned: number) => `${given} of ${planned}`,
  runsRefused: (problem: string) => `The feeder did not finish: ${problem}`,
  runsRefusedSilently: "The feeder did not finish, and did not say why.",
  runsUnanswered: "The feeder has not answered the order.",
  runsMissing: "The feeder says that it finished, but not all portions were reported.",
  runsCutShort: (count: number) => `Cut short: ${count}.`,
  runsLeftOut: "No portions were given.",

  portion: (mean: string, low: string, high: string) => `${mean} g (95 % interval ${low} to ${high} g)`,
  portionByTotal: (mean: string, count: number) => `${mean} g, from ${count} portions weighed together`,
  portionByBoth: (mean: string, cell: string) => `${mean} g by your scale; the load cell says ${cell}`,
  portionUnknown: "Neither weighed by you nor by a load cell.",
  portionHidden: "The load cell can't tell the portions from its own noise. Weigh them together instead.",
  spread: (deviation: string, share: string) => `± ${deviation} g (standard deviation, ${share} of a portion)`,
  spreadLimit: (share: string) => `at most ${share}`,
  spreadTooWide: "Some portions are more than twice as large as others.",
  spreadHidden: (noise: string) => `Not known: the load cell's own noise of ${noise} g hides it`,
  spreadUnknown: "Not known: no load cell weighed the portions one by one",

  chuteBlind: "Yet food was weighed: the chute sensor may be blind.",
  emptyUnknown: "Neither a sensor nor you counted them.",
  heldUnknown: "The feeder does not report how long its motor ran.",

  capsTwice: (hits: number, caps: number) =>
    `${hits} hits for ${caps} caps: it counts some caps twice, or more were dropped.`,
  capsNoMetal: (count: number) => `Taken for no metal: ${count}.`,
  pressesTwice: (hits: number, presses: number) =>
    `${hits} counts for ${presses} presses: it counts some twice, or more were pressed.`,
  notFinished: "The step was not finished.",

  rate: (count: number, hours: string, most: string) =>
    `${count === 0 ? "none" : times(count)} in ${hours} h; may be as many as ${most} an hour`,
  rateLimit: (seen: string, possible: string) => `at most ${seen} an hour seen, and no more than ${possible} possible`,
  rateTooHigh: "Food would be given for nothing.",
  rateUnknown: (most: string) => `Watched for too short: ${most} an hour are still possible. A longer soak shows more.`,
  notWatched: "Never watched while nobody touched the feeder.",

  pay: (half: string, most: string, worst: string, count: number) =>
    `half within ${half} s, 95 % within ${most} s, the slowest ${worst} s (${count} paid)`,
  payLimit: (most: string) => `95 % within ${most} s, and each promise kept`,
  payUnpaid: (count: number) => `Promised and not given: ${count}.`,
  paySlow: "A bird learns little from food that comes late.",
  payFew: (count: number) => `Only ${count} paid: too few to judge.`,
  payNothingEarned: "By the feeding plan none of them earned food",

  knownMass: (error: string, mass: string) => `${error} g off with ${mass} g`,
  knownMassLimit: (most: string) => `at most ${most} g off`,
  knownMassWrong: "The load cell needs to be set up again.",
  knownMassUnknown: "No weight was reported before and after.",

  heartbeats: (missed: number, expected: number, share: string, gap: string) =>
    `${missed} of ${expected} (${share} %), the longest gap ${gap}`,
  heartbeatsLimit: (share: string, minutes: number) => `at most ${share} missed, no gap above ${minutes} minutes`,
  heartbeatsMissed: "A time in which the server was off counts too.",
  heartbeatsFew: (expected: number) => `Only ${expected} reports were expected: too few to judge.`,
  restarts: (count: number) => (count === 0 ? "none" : times(count)),
  restartsLimit: "none",
  restartsSeen: "The feeder lost its power, or its program ended.",
  restartsUnknown: "The feeder has not reported.",
  supply: (lowest: string, minimum: string, sags: number, of: number) =>
    `lowest ${lowest}; below ${minimum} in ${sags} of ${of} runs`,
  supplyNotMeasured: "not measured",
  supplyLowest: (lowest: string) => `lowest ${lowest}`,
  supplyWeak: "The supply gives way when the motor runs: the board may restart in the cold.",

  soak: (hours: string, planned: string) => `${hours} of ${planned} h watched`,
  soakLimit: (hours: number) => `at least ${hours} h`,
  soakShort: "What shows only after hours is not known.",
  temperature: (low: string, high: string) => `${low} to ${high}; colder and warmer is not known`,
  temperatureUnknown: "not measured",

  verdicts: {
    ready: "Ready to go outdoors, as far as this run shows.",
    notReady: "Not ready.",
    notKnown: "Not known: too little was seen to call it ready.",
  },
  ends: {
    done: "All steps were done.",
    keeper: (name: string) => `Stopped by ${name}.`,
    pause: "Ended by a pause.",
    nobody: "Ended, since nobody went on for two hours.",
  },

  /** Why a run can't start. */
  runsAlready: "A bench run of this feeder is under way.",
  isPaused: "The feeder is paused, or a pause is on its way. Resume it first.",
  nothingToDo: "must have at least one step",
  noSuchRun: "No such bench run is under way: it may have ended.",
  suppressed: "A bench run is under way.",
};
