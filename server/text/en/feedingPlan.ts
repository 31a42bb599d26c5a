const causeTexts = {
  power: "it had no power",
  time: "it had just started and did not know the time",
  supply: "its supply is weak",
  motor: "its motor does not run freely",
  unknown: "nothing reported explains it",
};

type Cause = keyof typeof causeTexts;
const because = (causes: readonly Cause[]) =>
  causes.length === 0 ? "" : `: ${causes.map((cause) => causeTexts[cause]).join("; ")}`;
const portions = (count: number) => (count === 1 ? "1 portion" : `${count} portions`);

export const feedingPlan = {
  noPlace:
    "The yard has no place yet. Without it, nobody knows when it is light there: enter it in the yard's settings.",

  notTaken: "The feeder reports, but does not say that it follows the feeding plan.",
  earlierFollowed: (followed: number, version: number) =>
    `The feeder reports, but still follows version ${followed} of the feeding plan, not version ${version}.`,
  ration: (most: string, birds: number, share: number, frost: number) =>
    `At most ${most} a day for ${birds === 1 ? "this bird" : `these ${birds} birds`}: ${Math.round(100 * share)} % of what they burn in a day, as a supplement to what they find themselves. How much each bird gets is not known. In hard frost up to ${frost} times as much. Local law and the advice of your wildlife authority come first.`,
  madeLabel: "Feeding plan",
  followedLabel: "Followed by the feeder",
  version: (version: number) => `version ${version}`,
  none: "none",

  /** In the digest, after the feeder's name. */
  dayAsPlanned: (planned: number) => `${portions(planned)} of free food, as planned.`,
  dayMissed: (planned: number, given: number, causes: readonly Cause[]) =>
    `planned ${portions(planned)} of free food, gave ${given}${because(causes)}.`,

  todayAsPlanned: (planned: number) => `Free food today: ${portions(planned)} so far, as planned.`,
  /** "Free food today: planned 9 portions so far, gave 6: it had no power." */
  missed: (planned: number, given: number, causes: readonly Cause[]) =>
    `Free food today: planned ${portions(planned)} so far, gave ${given}${because(causes)}.`,
  plannedLabel: "Planned, free",
  givenLabel: "Given, free",
  portions,
};
