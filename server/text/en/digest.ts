export const digest = {
  title: (yard: string, day: string, text: string) => `${yard}, ${day}: ${text}`,
  practiceTitle: (yard: string, day: string, text: string) => `Practice – ${yard}, ${day}: ${text}`,
  noFeeder: "There is no feeder in this yard yet.",
  noFeederTitle: "no feeder yet",
  nothingToDo: "Nothing to do.",
  nothingToDoTitle: "nothing to do",
  tasksTitle: (count: number) => (count === 1 ? "1 task" : `${count} tasks`),
  headings: {
    toDo: "To do today",
    also: "Also",
    food: "Food",
    birds: "Birds",
    payments: "Deposits and portions",
    wear: "Wear",
    weather: "Tonight",
  },
  feederLine: (names: string, text: string) => `${names}: ${text}`,
  omittedLines: (count: number) => `${count} more ${count === 1 ? "line" : "lines"} on the feeder pages.`,
  moreOnPage: "More on its page.",

  tasks: {
    alarm: (feeder: string, title: string, advice: string) => `${feeder}: ${title}. ${advice}`,
    alarmSince: (feeder: string, title: string, moment: string, advice: string) =>
      `${feeder}: ${title} since ${moment}. ${advice}`,
    check: (feeder: string, title: string) => `${feeder}: check after “${title}” and confirm on its page.`,
    refill: (feeder: string, food: string) => `${feeder}: refill today: ${food}.`,
    clean: (feeders: string) => `Clean ${feeders}: last cleaning more than two weeks ago or not entered.`,
    noReportYet: (feeders: string) => `${feeders}: no report yet.`,
    inWorkshop: (feeders: string) => `${feeders}: in the workshop.`,
    inStorage: (feeders: string) => `${feeders}: in storage.`,
    outOfService: (alarms: string) => `Out of service: ${alarms}.`,
    outOfServiceAlarm: (title: string, feeder: string) => `${title} (${feeder})`,
    shelvedUntil: (feeder: string, title: string, time: string) =>
      `${feeder}: ${title} is shelved until ${time} today.`,
  },

  food: {
    notKnown: "not known (no reports).",
    forecast: (text: string) => `${text}.`,
    pausedForecast: (text: string) => `paused; ${text}.`,
    about: (mass: string, forecast: string) => `about ${mass}, ${forecast}`,
    seeAbove: "see above",
  },

  birds: {
    noData: "no data for yesterday.",
    noBirds: "no birds yesterday, as in the past week.",
    incomplete: (counts: string) => `${counts}. Part of yesterday is missing (no reports or paused).`,
    notEnoughData: (counts: string) => `${counts}. Not enough data for a comparison.`,
    compared: (count: string, usual: number) => `${count} (${usual})`,
    comparedFirst: (count: string, usual: number) => `${count} (usually ${usual})`,
    fewer: (counts: string) => `fewer than usual: ${counts}`,
    more: (counts: string) => `more than usual: ${counts}`,
    unusual: (counts: string) => `${counts}.`,
    othersUsual: (counts: string) => `${counts}. Others as usual.`,
    allUsual: "as usual.",
    allUsualCounts: (counts: string) => `as usual: ${counts}.`,
    visits: (count: number) => (count === 0 ? "no visit" : count === 1 ? "1 visit" : `${count} visits`),
    presses: (count: number) => (count === 0 ? "no press" : count === 1 ? "1 press" : `${count} presses`),
    deposits: (count: number) => (count === 0 ? "no deposit" : count === 1 ? "1 deposit" : `${count} deposits`),
    portions: (count: number) => (count === 0 ? "no portion" : count === 1 ? "1 portion" : `${count} portions`),
  },

  payments: {
    tooMany: "too many deposits to list.",
    none: "no deposit yesterday.",
    allPaid: (deposits: number, delay: string) =>
      deposits === 1 ? `1 deposit, with a portion${delay}.` : `${deposits} deposits, all with a portion${delay}.`,
    someUnpaid: (unpaid: number, deposits: number, times: string, delay: string) =>
      `no portion for ${unpaid} of ${deposits} deposits (${times}). The others${delay}.`,
    allUnpaid: (deposits: number, times: string) =>
      deposits === 1
        ? `no portion for the only deposit (${times}).`
        : `no portion for all ${deposits} deposits (${times}).`,
    /** The record shows the rule, but not whether it was the reason. */
    refused: (count: number, rule: string) => `The feeder's own rule may be why ${count} got none: ${rule}.`,
    rules: {
      hour: "only so many portions an hour",
      day: "only so many portions a day",
      rest: "none while it rests",
    },
    notCounted: (count: number) => `${count} more did not count: no metal, paused, or not paid by the plan.`,
    /** Follows "with a portion" or "the others". */
    within: (span: string) => ` within ${span}`,
    halfWithin: (span: string) => `, half of them within ${span}`,
    aSecond: "a second",
  },

  wear: {
    noneAtAll: "No signs of wear.",
    none: "no signs of wear.",
    motorSince: (day: string, portions: number) => `${day}, ${portions} portions ago`,
    motorHigher: (percent: number, since: string) =>
      `motor current about ${percent} % higher than on ${since}: check tray and bearing.`,
    motorLower: (percent: number, since: string) =>
      `motor current about ${percent} % lower than on ${since}: check that the tray still turns with food.`,
    chute: (oneOf: number) => `its chute sensor misses about 1 of ${oneOf} portions: clean it.`,
    detector: (oneOf: number) => `in this cold its metal detector may miss about 1 of ${oneOf} caps.`,
  },

  weather: {
    noData: "Not enough temperature data.",
    frostOnFeeders: (temperature: string) => `Frost likely on the feeders, air about ${temperature}.`,
    hardFrost: (temperature: string) => `Hard frost likely, about ${temperature}.`,
    frost: (temperature: string) => `Frost likely, about ${temperature}.`,
    coldLid: (temperature: string) => `A lid may come below freezing, air about ${temperature}.`,
    noFrost: (temperature: string) => `No frost likely, about ${temperature}.`,
    ice: "it is wet: tray and slot may freeze tonight.",
    caking: (cycles: number) => `its food has frozen and thawed ${cycles} times since the refill.`,
    batteryFreezing: "its battery may come near its freezing point: charge it today, or bring it in.",
    chargingInFrost: "its lithium battery may be charged below 0 °C: disconnect the charger until it is warmer.",
  },
};
