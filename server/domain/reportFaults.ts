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
  const said = `${refused.field} ${refused.problem}`;
  return {
    kind: "reportsUnreadable",
    reason: `Reports can't be read and are not stored. First problem: ${said}.`,
    evidence: [
      { label: "first problem", value: said, at: refused.lastAt },
      { label: "refused since", value: "the first of them", at: refused.since },
    ],
    confidence: null,
  };
}

export function bootReusedFault(reused: ReusedBoot | undefined, zone: string, now: Instant): Fault | null {
  if (reused === undefined) return null;
  const { boot, startCount, noticedAt } = reused;
  return {
    kind: "bootReused",
    reason: `Boot id ${boot} was used for ${startCount} starts, last on ${dateTimeText(noticedAt, zone, now)}.`,
    evidence: [
      { label: "boot id", value: boot, at: noticedAt },
      { label: "starts under it", value: String(startCount), at: null },
    ],
    confidence: null,
  };
}

/** "Thursday 15 January 10:05": stays right as long as the fault is shown. */
export function dateTimeText(at: Instant, zone: string, now: Instant): string {
  const [date, today] = [localDateOf(at, zone), localDateOf(now, zone)];
  return `${dateText(date, today)} ${localTimeOf(at, zone)}`;
}
