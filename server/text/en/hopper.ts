export const hopper = {
  levelLabel: "in the hopper",
  levelWithRange: (mass: string, range: string) => `${mass} (${range})`,
  empty: {
    portions: (mass: string, since: string) =>
      `The hopper is empty by the portions given since the last refill: at most ${mass} are left, since ${since}.`,
    scale: (mass: string, since: string) =>
      `The hopper is empty by the scale: at most ${mass} are left, since ${since}.`,
  },
  /** A little is left, and may still fall. */
  asGoodAsEmpty: {
    portions: (mass: string, since: string) =>
      `The hopper is as good as empty by the portions given since the last refill: at most ${mass} are left, since ${since}.`,
    scale: (mass: string, since: string) =>
      `The hopper is as good as empty by the scale: at most ${mass} are left, since ${since}.`,
  },
  stillFalls: {
    portions: (mass: string) =>
      `Food still falls, though at most ${mass} should be left by the portions given since the last refill. If it was refilled since, enter that.`,
    scale: (mass: string) => `Food still falls, but at most ${mass} are left by the scale.`,
  },
  emptyLimitLabel: "empty limit",
  low: (mass: string, forecast: string) => `About ${mass} are left: ${forecast}.`,
  lowWithoutForecast: (mass: string) =>
    `About ${mass} are left, less than a tenth of the hopper. Not enough data for a forecast.`,
  littleWithoutForecast: (mass: string) => `About ${mass} are left. Not enough data for a forecast.`,
  possiblyEmptyLabel: "possibly empty from",
  probablyEmptyLabel: "probably empty by",
};
