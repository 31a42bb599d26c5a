import { associativeSite } from "./associative.ts";
import { insightSite } from "./insight.ts";
import type { SiteMaker } from "./livedDay.ts";
import { losesSite } from "./loses.ts";
import { neverLearnsSite } from "./neverLearns.ts";
import { socialSite } from "./social.ts";

/**
 * Sites of simulated learners, by how their birds learn. Goal: worlds on which conclusions about learning are judged,
 * written apart from them. Replay: `siteMakers.insight(7)`, then `live` with the same dates and conditions.
 */
export const siteMakers: Readonly<Record<string, SiteMaker>> = {
  associative: associativeSite,
  insight: insightSite,
  social: socialSite,
  neverLearns: neverLearnsSite,
  loses: losesSite,
};

export * from "./livedDay.ts";
