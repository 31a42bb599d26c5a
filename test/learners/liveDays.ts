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
 * How far what happened lies from what was expected, in standard deviations: within 4 where the truth is true. Each trial is
 * independent of those before, given its own probability.
 */
export function truthDeviation(sites: readonly LearningSite[], conditions: Conditions, days: number, bias = 1) {
  let [expected, happened, variance, bouts, expectedBouts] = [0, 0, 0, 0, 0];
  for (const [index, site] of sites.entries()) {
    for (let day = 0; day < days; day += 1) {
      const date = addLocalDays("2026-01-01", (index * 59) % 365);
      const { outcome } = site.liveWithTrials(addLocalDays(date, day), conditions);
      bouts += outcome.boutCount;
      expectedBouts += outcome.expectedBouts;
      for (const trial of conditions.stage === "comeForFood" ? outcome.portions : outcome.bouts) {
        const probability = Math.min(1, trial.expected * bias);
        expected += probability;
        happened += trial.happened ? 1 : 0;
        variance += probability * (1 - probability);
      }
    }
  }
  return { deviation: (happened - expected) / Math.sqrt(variance), happened, boutsRatio: bouts / expectedBouts };
}
