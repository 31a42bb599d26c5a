/** Faults of single sensors. A sensor's name follows "the". */
export const sensorFaults = {
  names: { button: "button", detector: "detector", perch: "perch sensor", chute: "chute sensor" },
  readings: {
    air: "air thermometer",
    inside: "inside thermometer",
    lid: "lid thermometer",
    batteryTemperature: "battery thermometer",
    humidity: "humidity sensor",
    battery: "battery's meter",
    hopper: "scale",
    supply: "supply's meter",
    chargingCurrent: "charging current's meter",
    signal: "radio's signal strength",
  },
  andThe: (names: string, last: string) => `${names} and the ${last}`,

  silentBesideOthers: (sensor: string, events: string, usual: string) =>
    `The ${sensor} did not react in the last ${events}. Usually it reacts in ${usual}.`,
  silentSinceBesideOthers: (sensor: string, events: string, span: string, usual: string) =>
    `The ${sensor} did not react in the last ${events} (in ${span}). Usually it reacts in ${usual}.`,
  silentAlone: (sensor: string) =>
    `The ${sensor} gave no signal, for much longer than usual in daylight. No other sensor shows whether birds came.`,
  silentSinceAlone: (sensor: string, span: string) =>
    `The ${sensor} gave no signal (in ${span}), for much longer than usual in daylight. No other sensor shows whether birds came.`,
  events: {
    button: "presses",
    detector: "deposits",
    perch: "landings",
    slot: "things that fell into its slot",
  },
  countedEvents: (count: number, events: string) => `${count} ${events}`,
  eventsSinceLabel: (events: string) => `${events} since`,
  usualShareLabel: "usual share of reactions",
  lastSignalLabel: "last signal",
  lastSignal: "a count",
  share: {
    nearlyAll: "nearly all of them",
    ofTen: (count: number) => `about ${count} of 10`,
    ofHundred: (count: number) => `about ${count} of 100`,
  },
  counterFellLabel: "its counter went backwards",
  counterFell: (from: number, to: number) => `${from} to ${to}`,

  chatter: {
    reason: (sensor: string, counts: number, span: string) =>
      `The ${sensor} counted ${counts} times in ${span}, more than birds can cause.`,
    bursts: (sensor: string, bursts: number, span: string) =>
      `The ${sensor} counted in ${bursts} bursts within ${span} that no bird makes: too quickly, or in the dark.`,
    others: (sensors: string) => `So does the ${sensors}.`,
    burstsLabel: (sensor: string) => `bursts of the ${sensor}`,
    countsLabel: (sensor: string) => `counts of the ${sensor}`,
  },
  stuck: {
    reason: (sensor: string, span: string, longest: string) =>
      `The ${sensor} has not changed for ${span}. Before, it never stayed the same for longer than ${longest}.`,
    others: (sensors: string) => `The same is true of the ${sensors}.`,
    valueLabel: (sensor: string) => `${sensor}, unchanged`,
    spanLabel: (sensor: string) => `${sensor}, the same for`,
  },
  impossible: {
    one: (sensor: string) => `The ${sensor} reports impossible values. They are ignored.`,
    several: (sensors: string) => `The ${sensors} report impossible values. They are ignored.`,
    countLabel: (sensor: string) => `values of the ${sensor} ignored`,
    count: (count: number) => `${count} times`,
  },
  totalFell: {
    reason: (sensor: string, from: number, to: number) =>
      `The running total of the ${sensor} fell from ${from} to ${to}, although the feeder did not restart.`,
    label: (sensor: string) => `total of the ${sensor}`,
  },

  scale: {
    neverReported: "A scale is fitted, but no report ever had a weight in it.",
    missing: (reports: number) => `The last ${reports} reports came without the hopper's weight.`,
    missingLabel: "reports without a weight",
    lastWeightLabel: "last weight",
    aWeight: "a weight",
    unchangedThoughSeen: (portions: number) =>
      `The scale reading did not change, although ${portions} portions were seen to fall.`,
    seenLabel: "portions seen to fall since",
    unchangedThoughGiven: (portions: number) =>
      `The scale reading did not change, although ${portions} portions were given.`,
    givenLabel: "portions given since",
    unchangedLabel: "weight, unchanged",
  },
};
