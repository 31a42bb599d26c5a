export const food = {
  names: {
    peanutHalves: "peanut halves",
    peanutWhole: "whole peanuts",
    catKibble: "dry cat kibble",
    dogKibble: "dry dog kibble",
    sunflowerHearts: "sunflower hearts",
    driedMealworms: "dried mealworms",
    maize: "maize",
    other: "something else",
  },
  unknown: {
    level: "food level not known: enter a refill",
    appetite: "not enough data for a forecast",
    reports: "not known without reports",
  },
  notEmptying: "almost nothing is eaten",
  emptySince: (when: string) => `empty since ${when}`,
  asGoodAsEmptySince: (when: string) => `as good as empty since ${when}`,
  enoughUntil: (when: string) => `enough until ${when}`,
  veryLikelyEnoughUntil: (when: string) => `very likely enough until ${when}`,
  emptyBy: (when: string) => `empty by ${when}`,
  mayBeEmptyBy: (early: string, probable: string) => `may be empty by ${early}, probably by ${probable}`,
  assuming: (forecast: string, assumption: string) => `${forecast} (assuming that ${assumption})`,
  assumingBoth: (forecast: string, one: string, other: string) => `${forecast} (assuming that ${one} and ${other})`,
  assumed: {
    portionMass: (mass: string) => `a portion weighs ${mass}`,
    hopperCapacity: (mass: string) => `a full hopper holds ${mass}`,
  },

  /** "A portion weighs about …" on a feeder's page. */
  portion: {
    onlyAssumed: (mass: string) => `Portion weight not entered. ${mass} is assumed.`,
    learnt: {
      scale: (mass: string) => `A portion weighs about ${mass}, measured by the scale. Portion weight not entered.`,
      refills: (mass: string) =>
        `A portion weighs about ${mass}, calculated from your refills. Portion weight not entered.`,
    },
    asEntered: (mass: string, entered: string) => `A portion is counted as ${mass} (${entered}).`,
    learntBesideEntered: {
      scale: (mass: string, entered: string, enteredMass: string) =>
        `A portion weighs about ${mass}, measured by the scale (${entered}: ${enteredMass}).`,
      refills: (mass: string, entered: string, enteredMass: string) =>
        `A portion weighs about ${mass}, calculated from your refills (${entered}: ${enteredMass}).`,
    },
    entered: "entered",
    pieces: (count: number) => (count === 1 ? "1 piece" : `${count} pieces`),
  },
};
