const causeTexts = {
  power: "it had no power",
  time: "it had just started and did not know the time",
  supply: "its supply is weak",
  motor: "its motor does not run freely",
  unknown: "nothing reported explains it",
};

export const feedingPlan = {
  noPlace:
    "The yard has no place yet. Without it, nobody knows when it is light there: enter it in the yard's settings.",

  notTaken: "The feeder reports, but does not say that it follows the feeding plan.",
  earlierFollowed: (followed: number, version: number) =>
    `The feeder reports, but still follows version ${followed} of the feeding plan, not version ${version}.`,
  madeLabel: "Feeding plan",
  followedLabel: "Followed by the feeder",
  version: (version: number) => `version ${version}`,
  none: "none",

  /** "Free food today: planned 9 portions so far, gave 6: it had no power." */
  missed: (planned: number, given: number, causes: readonly (keyof typeof causeTexts)[]) =>
    `Free food today: planned ${planned} portions so far, gave ${given}: ${causes.map((cause) => causeTexts[cause]).join("; ")}.`,
  plannedLabel: "Planned, free",
  givenLabel: "Given, free",
  portions: (count: number) => (count === 1 ? "1 portion" : `${count} portions`),
  causes: causeTexts,
};
