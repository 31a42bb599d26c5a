import type { SiteMaker } from "../livedDay.ts";
import { latentSite } from "./latent.ts";
import { producersSite } from "./producers.ts";

/**
 * Two more kinds, made to be run once figures are to be published. Goal: a judgement that was not fitted to them.
 * Nobody who changes the judgement reads this folder or its results before. Replay: as in ../site.ts.
 */
export const sealedSiteMakers: Readonly<Record<string, SiteMaker>> = {
  producers: producersSite,
  latent: latentSite,
};
