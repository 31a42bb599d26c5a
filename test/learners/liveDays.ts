import { addLocalDays } from "../../server/domain/localTime.ts";
import type { LearningSite } from "./learningSite.ts";
import type { Conditions, LivedDay, Site } from "./livedDay.ts";

/** Ordinary conditions, so that a test names only what it is about. */
export const someConditions = (changes: Partial<Conditions> & Pick<Conditions, "stage">): Conditions => ({
  freePortions: changes.stage === "comeForFood" ? 12 : 4,
  distanceCm: changes.stage === "fetchCap" ? 200 : 10,
  capsLaid: 15,
  gramsEach: 2,
  paysEvery: 1,
  ...changes,
});

/** So many days in a row. @param from `YYYY-MM-DD` */
export const liveDays = (site: Site, from: string, count: number, conditions: Conditions): readonly LivedDay[] =>
  Array.from({ length: count }, (_, index) => site.live(addLocalDays(from, index), conditions));

/**
 * How far what happened lies from what was expected, in standard deviations: within 4 where the truth is true. By whole
 * days, whose own spread is the measure, since portions that fall close together are found by the same birds.
 */
export function truthDeviation(sites: readonly LearningSite[], conditions: Conditions, days: number, bias = 1) {
  let [surplus, variance, happened, bouts, expectedBouts] = [0, 0, 0, 0, 0];
  for (const [index, site] of sites.entries()) {
    const from = addLocalDays("2026-01-01", (index * 59) % 365);
    for (let day = 0; day < days; day += 1) {
      const { outcome } = site.liveWithTrials(addLocalDays(from, day), conditions);
      const trials = conditions.stage === "comeForFood" ? outcome.portions : outcome.bouts;
      const ofDay = trials.reduce(
        (sum, trial) => sum + (trial.happened ? 1 : 0) - Math.min(1, trial.expected * bias),
        0,
      );
      surplus += ofDay;
      variance += ofDay ** 2;
      happened += trials.filter((trial) => trial.happened).length;
      bouts += outcome.boutCount;
      expectedBouts += outcome.expectedBouts;
    }
  }
  return { deviation: surplus / Math.sqrt(variance), surplus, happened, boutsRatio: bouts / expectedBouts };
}
