import { numberText } from "../text/format.ts";
import { texts } from "../text/index.ts";
import type { Fault } from "./faults.ts";
import type { ReusedBoot } from "./feederClock.ts";
import type { Instant } from "./instant.ts";
import { dateText, localDateOf, localTimeOf } from "./localTime.ts";

/** What is wrong with how a feeder reports, not with the feeder. */

/** Reports that were refused since the last one that was accepted. */
export interface RefusedReports {
  readonly since: Instant;
  readonly lastAt: Instant; // the newest
  readonly field: string;
  readonly problem: string; // of the newest, the first one
}

export interface RefusalReason {
  readonly field: string;
  readonly problem: string;
}

const textMax = 300;

export const updateRefusedReports = (
  refused: RefusedReports | undefined,
  { field, problem }: RefusalReason,
  now: Instant,
): RefusedReports => ({
  since: refused?.since ?? now,
  lastAt: now,
  field: field.slice(0, textMax),
  problem: problem.slice(0, textMax),
});

export function unreadableFault(refused: RefusedReports | undefined): Fault | null {
  if (refused === undefined) return null;
  const problem = `${refused.field} ${refused.problem}`;
  return {
    kind: "reportsUnreadable",
    reason: texts.feederReports.unreadable(problem),
    evidence: [
      { label: texts.feederReports.firstProblemLabel, value: problem, at: refused.lastAt },
      { label: texts.feederReports.refusedSinceLabel, value: texts.feederReports.refusedSince, at: refused.since },
    ],
    confidence: null,
  };
}

export function bootReusedFault(reused: ReusedBoot | undefined, zone: string, now: Instant): Fault | null {
  if (reused === undefined) return null;
  const { boot, startCount, noticedAt } = reused;
  return {
    kind: "bootReused",
    reason: texts.feederReports.bootReused(boot, startCount, dateTimeText(noticedAt, zone, now)),
    evidence: [
      { label: texts.feederReports.bootLabel, value: boot, at: noticedAt },
      { label: texts.feederReports.startsLabel, value: numberText(startCount), at: null },
    ],
    confidence: null,
  };
}

/** "Thursday 15 January 10:05": stays right as long as the fault is shown. */
export function dateTimeText(at: Instant, zone: string, now: Instant): string {
  const [date, today] = [localDateOf(at, zone), localDateOf(now, zone)];
  return texts.time.moment(dateText(date, today), localTimeOf(at, zone));
}
