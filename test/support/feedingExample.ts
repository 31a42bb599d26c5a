import type { FeedingRequest } from "../../server/contract/feedingRequest.ts";

/** Rules of a feeding plan as a keeper may enter them: free food about every 50 minutes, and each act paid. */
export const feedingExample: FeedingRequest = {
  seed: 4_711,
  free: {
    eachGrams: 2,
    schedule: { kind: "variableTime", meanMinutes: 50 },
    afterDawnMinutes: 30,
    beforeDuskMinutes: 60,
  },
  press: { ratio: { kind: "fixed", of: 1 }, atLeastSecondsBetween: 2 },
  deposit: { ratio: { kind: "variable", of: 2 }, atLeastSecondsBetween: 0 },
  rationGrams: 60,
  paysDepositsOverRation: true,
  frostFloor: { belowCelsius: -10, grams: 20 },
  quietTimes: [{ from: "12:00", to: "13:00" }],
};
