import * as text from "#text/feeder.ts";
import type { FeederView } from "../../server/contract/api.ts";
import { capitalize, uncapitalize } from "./amount.ts";
import { agoText, momentText } from "./clock.ts";

/** What is known of the page itself. */
export interface PageState {
  readonly now: number;
  readonly asOf: number; // when it was last loaded, by the server's clock
  readonly connection: "unknown" | "live" | "polling" | "offline";
  readonly zone: string;
}

/** Without a live connection a page counts as old after this time. */
const staleAfterMs = 2 * 60_000;
/** The server begins the sentence so while nothing is wrong: server/domain/feederSummary.ts. */
const okPrefix = /^OK: /;

/** Whether what it shows may no longer be so. */
export const isStale = ({ now, asOf, connection }: PageState) =>
  connection === "offline" || (connection !== "live" && now - asOf > staleAfterMs);

/** The server said that all is well, and no report was missed since. */
export const isKnownWell = (
  { summary, summaryValidUntil }: Pick<FeederView, "summary" | "summaryValidUntil">,
  now: number,
) => okPrefix.test(summary) && summaryValidUntil !== null && now < Date.parse(summaryValidUntil);

/** How a feeder is, never better than this page knows: an old page shows its age, and no feeder as OK. */
export function feederSentence(
  feeder: Pick<FeederView, "summary" | "summaryValidUntil" | "lastReportAt">,
  page: PageState,
): string {
  const { now, asOf, zone } = page;
  const { summary, summaryValidUntil, lastReportAt } = feeder;
  const bare = summary.replace(okPrefix, "");
  if (isStale(page)) return text.atTimeText(momentText(new Date(asOf).toISOString(), now, zone), uncapitalize(bare));
  const isValid = summaryValidUntil !== null && now < Date.parse(summaryValidUntil);
  if (isValid || !okPrefix.test(summary)) return capitalize(summary);
  return lastReportAt === null ? capitalize(bare) : text.lastReportText(agoText(lastReportAt, now), capitalize(bare));
}
