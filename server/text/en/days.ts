export const days = {
  sunset: "sunset",
  midnight: "midnight",
  midnightBySun: "midnight by the sun",
  /** What a day page covers: `start` and `end` are sunset, as a rule. */
  whole: (start: string, startMoment: string, end: string, endMoment: string) =>
    `From ${start} (${startMoment}) to ${end} (${endMoment}).`,
  untilNow: (start: string, startMoment: string) => `From ${start} (${startMoment}) until now.`,
  laterEvents: (extent: string, end: string, time: string) =>
    `${extent} Events after today's ${end} (${time}) belong to the next day.`,

  marks: {
    paid: "paid",
    unpaid: "unpaid",
    noMetal: "no metal",
    notEarning: "the plan pays only some",
    cutShort: "cut short",
    free: "free",
    earned: "earned",
    nothingFell: "nothing fell",
  },
  refillSource: {
    keeper: "entered",
    level: "entered as the level",
    detected: "detected by the scale",
    feeder: "by the feeder",
  },
  refillMass: (mass: string, source: string) => `${mass}, ${source}`,

  nothingRecorded: "No birds and no portions were recorded on this day.",
  visits: (count: number) => (count === 1 ? "1 visit" : `${count} visits`),
  presses: (count: number) => (count === 1 ? "1 press" : `${count} presses`),
  deposits: (count: number) => (count === 1 ? "1 deposit" : `${count} deposits`),
  portions: (count: number) => (count === 1 ? "1 portion" : `${count} portions`),
  withMass: (portions: string, mass: string) => `${portions}, about ${mass}`,
  summary: (counts: string) => `${counts}.`,
};
