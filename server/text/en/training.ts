const percent = (share: number) => `${Math.round(100 * share)} %`;
const times = (count: number, one: string, many: string) => (count === 1 ? `1 ${one}` : `${count} ${many}`);
const dayCount = (count: number) => times(count, "day", "days");

/** The act of a stage, as something that birds do. */
const actNames = {
  freeFood: "birds came to free food within half an hour",
  press: "a bird pressed the button",
  deposit: "a cap was put into the slot",
};
const actsMany = { freeFood: "bouts of visits", press: "presses", deposit: "deposits" };
const trialsMany = { freeFood: "portions of free food", press: "bouts of visits", deposit: "bouts of visits" };

type Act = keyof typeof actNames;

interface ShareSeen {
  readonly act: Act;
  readonly successes: number;
  readonly trials: number;
  readonly days: number;
  readonly low: number;
  readonly high: number;
}

export const training = {
  stageNames: {
    comeForFood: "Come for free food",
    pressForFood: "Press for food",
    nudgeCap: "Nudge a cap in",
    dropCap: "Drop a cap",
    fetchCap: "Fetch a cap",
  },

  advice: {
    stay: "Stay at this stage",
    moveOn: "Move on to the next stage",
    stepBack: "Go one stage back",
    notEnoughEvidence: "Not enough evidence yet",
    wait: "Wait: mend the feeder first",
  },

  reasons: {
    faultStands: "An alarm of the feeder is active. What the birds do now says little about what they have learnt.",
    promisesBroken: (share: number, min: number) =>
      `Only ${percent(share)} of what was promised was paid in the last days; you asked for ${percent(min)}.`,
    littleJudged: "The feeder was paused, silent or at fault on most of the last days.",
    tooFewDays: (judged: number, asked: number) =>
      `${dayCount(judged)} of this stage could be judged so far; the criterion asks for ${asked}.`,
    tooFewBouts: (act: Act, trials: number) =>
      `${trials} ${trialsMany[act]} so far could mean either: the act learnt, or done by chance.`,
    noPerch:
      "The feeder has no working perch switch. Visits without an act are not seen, so how often the birds do it is not known.",
    criterionMet: (act: Act, share: number, days: number) =>
      `In ${percent(share)} of the ${trialsMany[act]} of the last ${dayCount(days)} ${actNames[act]}. That is more than the criterion asks for, and more than chance explains.`,
    grownWithoutPerch: (ratio: number, act: Act) =>
      `The ${actsMany[act]} are ${ratio.toFixed(1)} times as many as in the first days of this stage. Without a perch switch nothing more is known: watch the birds before you decide.`,
    aboveChance: "The birds do it more often than by chance.",
    notAboveChance: "It is not shown yet that the birds do it more often than by chance.",
    shareTooLow: (act: Act, share: number, asked: number) =>
      `In ${percent(share)} of the ${trialsMany[act]} of the last days ${actNames[act]}; the criterion asks for ${percent(asked)}.`,
    actsTooFew: (act: Act, least: number, asked: number) =>
      `On one of the last days there were ${least} ${actsMany[act]}; the criterion asks for ${asked} each day.`,
    usualTimeOver: (days: number, usual: number) =>
      `This stage has taken ${dayCount(days)} so far; ${usual} are usual at most.`,
    lost: (best: number, now: number) => `It was ${percent(best)} at best, and is ${percent(now)} now.`,
    declined: (ratio: number) =>
      `In the last three days the birds did ${percent(1 - ratio)} less than before. Temperature, day length, free food and the feeder's own faults don't explain it.`,
    capsOnDish: (caps: number, days: number) =>
      `${times(caps, "cap", "caps")} lay on the dish in the last ${dayCount(days)}, by your notes: birds may take it for the place to put them. Take them away at once, and give nothing for them.`,
    lastStage: "This is the last stage of the programme.",
  },

  wouldChange: {
    feederMended: "The alarm ends, and the feeder gives food again.",
    moreDays: "More days with visits.",
    perchSwitch: "A perch switch, or your own eyes.",
    shareReached: (asked: number, days: number) =>
      `${percent(asked)} or more over ${dayCount(days)} would mean: move on.`,
    actsReached: (asked: number) => `At least ${asked} a day on each of these days.`,
    shareFalls: "A fall below the criterion.",
    keptAgain: (min: number) => `At least ${percent(min)} of promises paid again.`,
  },

  judgement: {
    share: ({ act, successes, trials, days, low, high }: ShareSeen) =>
      `In ${successes} of ${trials} ${trialsMany[act]} of the last ${dayCount(days)} ${actNames[act]} (${percent(successes / trials)}; the true share is between ${percent(low)} and ${percent(high)}, 95 % sure).`,
    acts: (act: Act, least: number, days: number) =>
      `At least ${least} ${actsMany[act]} on each of the last ${dayCount(days)}.`,
    site: "These are figures of the site: no sensor tells one bird from another.",
    noDays: "No day of this stage could be judged yet.",
  },

  changes: {
    stageStarted: (name: string) => `Started: ${name}`,
    parametersChanged: (name: string, what: string) => `${name}: ${what}`,
    stagesEdited: "Edited the stages",
    keptMinChanged: (share: number) => `Least share of promises paid: ${percent(share)}`,
    distance: (cm: number | null) => (cm === null ? "distance not measured" : `${cm} cm to the dish`),
    capsLaid: (count: number) => times(count, "cap laid out", "caps laid out"),
    capsWhere: (where: string) => `caps ${where}`,
    slotOpening: (mm: number) => `slot ${mm} mm`,
    gramsEach: (grams: number) => `${grams} g a portion`,
  },

  refusals: {
    noStage: "there is no such stage in the programme",
    inFuture: "must not lie in the future",
    tooOld: "must lie within the last year",
    noChange: "There is no such change.",
    noStill: "there is no such picture any more",
    noNote: "There is no such note.",
  },
};
