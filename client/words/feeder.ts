import type { FeederView } from "../../server/contract/api.ts";
import { sentence } from "./amount.ts";
import { agoWords, whenWords } from "./clock.ts";

/** What is known of the page itself. */
export interface PageAge {
  readonly now: number;
  readonly asOf: number; // when the server last told of it, by the server's clock
  readonly line: "unknown" | "live" | "quiet" | "cut";
  readonly zone: string;
}

/** Without a live line a page is taken to be old after so long. */
const oldAfterMs = 2 * 60_000;
const well = /^Well: /;

/** Whether what it shows may no longer be so. */
export const isOld = ({ now, asOf, line }: PageAge) => line === "cut" || (line !== "live" && now - asOf > oldAfterMs);

/** How a feeder is, no better than this page knows: an old page says how old it is, and calls nothing well. */
export function feederSentence(feeder: Pick<FeederView, "words" | "wellUntil" | "lastHeardAt">, page: PageAge): string {
  const { now, asOf, zone } = page;
  const bare = feeder.words.replace(well, "");
  if (isOld(page)) {
    return `As of ${whenWords(new Date(asOf).toISOString(), now, zone)}: ${bare.charAt(0).toLowerCase()}${bare.slice(1)}`;
  }
  const { wellUntil, lastHeardAt } = feeder;
  if (!well.test(feeder.words) || (wellUntil !== null && now < Date.parse(wellUntil))) return sentence(feeder.words);
  return `${lastHeardAt === null ? "" : `Last heard ${agoWords(lastHeardAt, now)}. `}${sentence(bare)}`;
}
