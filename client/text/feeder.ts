import type { FeederView } from "../../server/contract/api.ts";
import { capitalize } from "./amount.ts";
import { agoText, momentText } from "./clock.ts";

/** What is known of the page itself. */
export interface PageState {
  readonly now: number;
  readonly asOf: number; // when the server last told of it, by the server's clock
  readonly connection: "unknown" | "live" | "polling" | "offline";
  readonly zone: string;
}

/** Without a live line a page is taken to be old after so long. */
const staleAfterMs = 2 * 60_000;
const wellPrefix = /^OK: /;

/** Whether what it shows may no longer be so. */
export const isStale = ({ now, asOf, connection }: PageState) =>
  connection === "offline" || (connection !== "live" && now - asOf > staleAfterMs);

/** How a feeder is, no better than this page knows: an old page says how old it is, and calls nothing well. */
export function feederSentence(
  feeder: Pick<FeederView, "summary" | "summaryValidUntil" | "lastReportAt">,
  page: PageState,
): string {
  const { now, asOf, zone } = page;
  const bare = feeder.summary.replace(wellPrefix, "");
  if (isStale(page)) {
    return `As of ${momentText(new Date(asOf).toISOString(), now, zone)}: ${bare.charAt(0).toLowerCase()}${bare.slice(1)}`;
  }
  const { summaryValidUntil, lastReportAt } = feeder;
  if (!wellPrefix.test(feeder.summary) || (summaryValidUntil !== null && now < Date.parse(summaryValidUntil)))
    return capitalize(feeder.summary);
  return `${lastReportAt === null ? "" : `Last heard ${agoText(lastReportAt, now)}. `}${capitalize(bare)}`;
}
