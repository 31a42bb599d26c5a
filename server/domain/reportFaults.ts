import type { Fault } from "./faults.ts";
import type { ReusedBoot } from "./feederClock.ts";
import type { Instant } from "./instant.ts";
import { dateWords, localDateOf, localTimeOf } from "./localTime.ts";

/** What is wrong with how a feeder reports, not with the feeder. */

/** Reports that were refused since the last one that was taken. */
export interface RefusedReports {
  readonly since: Instant;
  readonly at: Instant; // the newest
  readonly field: string;
  readonly problem: string; // of the newest, the first one
}

export interface RefusedBecause {
  readonly field: string;
  readonly problem: string;
}

const wordsMax = 300;

export const withRefused = (
  refused: RefusedReports | undefined,
  { field, problem }: RefusedBecause,
  now: Instant,
): RefusedReports => ({
  since: refused?.since ?? now,
  at: now,
  field: field.slice(0, wordsMax),
  problem: problem.slice(0, wordsMax),
});

export function unreadableFault(refused: RefusedReports | undefined): Fault | null {
  if (refused === undefined) return null;
  const said = `${refused.field} ${refused.problem}`;
  return {
    kind: "reportsUnreadable",
    reason: `The feeder sends reports, but they can't be read, and nothing in them is stored. The first problem: ${said}.`,
    evidence: [
      { what: "first problem", value: said, at: refused.at },
      { what: "refused since", value: "the first of them", at: refused.since },
    ],
    sure: null,
  };
}

export function bootReusedFault(reused: ReusedBoot | undefined, zone: string, now: Instant): Fault | null {
  if (reused === undefined) return null;
  const { boot, starts, at } = reused;
  return {
    kind: "bootReused",
    reason: `It has used the boot id ${boot} for ${starts} starts; the newest was noticed on ${dateTimeWords(at, zone, now)}.`,
    evidence: [
      { what: "boot id", value: boot, at },
      { what: "starts under it", value: String(starts), at: null },
    ],
    sure: null,
  };
}

/** "Thursday 15 January 10:05": stays right however long it stands. */
export function dateTimeWords(at: Instant, zone: string, now: Instant): string {
  const [date, today] = [localDateOf(at, zone), localDateOf(now, zone)];
  return `${dateWords(date, today)} ${localTimeOf(at, zone)}`;
}
