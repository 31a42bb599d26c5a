import * as text from "#text/homeRow.ts";
import type { YardView } from "../../server/contract/api.ts";
import { uncapitalize } from "./amount.ts";
import { momentText } from "./clock.ts";
import { isStale, type PageState } from "./feeder.ts";
import { type FeederNeed, feederNeed } from "./feederRow.ts";
import { feederOrderTexts } from "./yardOrder.ts";

/** Whether all is well with all feeders, in the fewest words. Practice feeders don't count. */
export interface HomeVerdict {
  readonly title: string;
  readonly detail: string; // empty where there is nothing to add
  readonly kind: FeederNeed | "unknown";
}

/** The most serious first: it becomes the title. */
const order: readonly Exclude<FeederNeed, "you">[] = ["silent", "unsure", "waiting", "paused", "away", "well"];

/** @returns null where there is no feeder */
export function homeVerdict(yards: readonly YardView[], page: PageState): HomeVerdict | null {
  const real = yards.filter(({ practice }) => !practice);
  const needs = real.flatMap((yard) => needsOf(yard, { ...page, zone: yard.zone }));
  if (needs.length === 0) return null;
  const verdict = verdictOf(needs);
  if (!isStale(page)) return verdict;
  const since = momentText(new Date(page.asOf).toISOString(), page.now, page.zone);
  const then = [uncapitalize(verdict.title), verdict.detail].filter((part) => part !== "").join(", ");
  return { kind: "unknown", title: text.notKnownTitle(since), detail: text.thenText(then) };
}

interface Need {
  readonly name: string;
  readonly need: FeederNeed;
}

function needsOf({ feeders, damagedFeeders }: YardView, page: PageState): readonly Need[] {
  const orders = feederOrderTexts(feeders, page);
  return [
    ...feeders.map((feeder, index) => ({
      name: feeder.name,
      need: feederNeed(feeder, orders[index] ?? null, isStale(page) ? page.asOf : page.now),
    })),
    ...damagedFeeders.map(({ name }) => ({ name, need: "you" as const })),
  ];
}

function verdictOf(needs: readonly Need[]): HomeVerdict {
  const [only] = needs;
  if (needs.length === 1 && only !== undefined) {
    const { name, need } = only;
    return { kind: need, title: need === "you" ? text.oneNeedsText(name) : text.oneTexts[need](name), detail: "" };
  }
  const count = (need: FeederNeed) => needs.filter((each) => each.need === need).length;
  if (count("well") === needs.length) return { kind: "well", title: text.allWellTitle, detail: "" };
  const parts = order
    .filter((need) => count(need) > 0)
    .map((need) => ({ need, words: text.partTexts[need](count(need)) }));
  const all =
    count("you") === 0 ? parts : [{ need: "you" as const, words: text.needText(count("you"), needs.length) }, ...parts];
  return {
    kind: all[0]?.need ?? "well",
    title: all[0]?.words ?? text.allWellTitle,
    detail: all
      .slice(1)
      .map(({ words }) => words)
      .join(", "),
  };
}
