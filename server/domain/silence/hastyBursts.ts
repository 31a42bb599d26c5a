import { before as earlierBy, hours, type Instant, inDays, minutes, type Span } from "../instant.ts";

/**
 * Bursts of counts that no bird makes, over hours and days: a wet or loose contact chatters for seconds at a time, some times a
 * day, which the rate of a minute (chatter.ts) doesn't show. That birds come in flocks proves nothing (their counts are as
 * clustered), so only what a bird can't do is counted: three counts in less time than it needs for two, and quick counts
 * of a button in the dark. A contact that bounces gives two, so two prove nothing.
 *
 * A sum of points that each such count adds to, and time drains (CUSUM, Page 1954).
 */
export interface HastyBursts {
  readonly quickAt: Instant | null; // the latest count that came too soon after the one before
  readonly points: number; // as of `pointsAt`
  readonly pointsAt: Instant;
  readonly burstAt: Instant | null; // the latest hasty count
  readonly burstPoints: number; // of the latest burst
  readonly bursts: number; // as long as there are points
  readonly firstAt: Instant; // the first of them
  readonly since: Instant | null; // it chatters since; null: it doesn't
}

/** One count, and what is known of its circumstances. */
export interface TimedCount {
  readonly at: Instant;
  readonly countBefore: Instant | null;
  readonly quickGap: Span; // shorter than a bird's
  readonly isQuickInTheDark: boolean;
  readonly isAlone: boolean; // no other sensor saw a bird just now
}

/** Null while nothing strange was counted. */
export function updateHastyBursts(bursts: HastyBursts | null, count: TimedCount): HastyBursts | null {
  const { at, countBefore, quickGap } = count;
  // Equal times come from a clock of whole seconds, and show no haste.
  const isQuick = countBefore !== null && at > countBefore && at - countBefore < quickGap;
  const isHasty = (isQuick && bursts?.quickAt === countBefore) || count.isQuickInTheDark;
  if (!isQuick && !isHasty) return bursts;
  const known = bursts ?? initialBursts(at);
  const quickAt = isQuick ? at : known.quickAt;
  return isHasty ? addHastyCount({ ...known, quickAt }, count) : { ...known, quickAt };
}

function addHastyCount(known: HastyBursts, { at, isAlone }: TimedCount): HastyBursts {
  const remaining = remainingPoints(known, at);
  const isSameBurst = isHastyBurst(known, at);
  const pointsBefore = isSameBurst ? known.burstPoints : 0;
  const burstPoints = isAlone
    ? Math.min(burstPointsMax, pointsBefore + 1)
    : Math.max(pointsBefore, Math.min(1, pointsBefore + accompaniedPoints));
  const points = Math.min(pointsMax, remaining + burstPoints - pointsBefore);
  const isRestarted = remaining === 0 && !isSameBurst;
  return {
    quickAt: known.quickAt,
    points,
    pointsAt: at,
    burstAt: at,
    burstPoints,
    bursts: (isRestarted ? 0 : known.bursts) + (isSameBurst ? 0 : 1),
    firstAt: isRestarted ? at : known.firstAt,
    since: chatteringSince(known, points, at),
  };
}

function chatteringSince(known: HastyBursts, points: number, at: Instant): Instant | null {
  const before = isRecent(known, at) ? known.since : null;
  return before ?? (points >= pointsChattering ? at : null);
}

/** It chatters: so many bursts are no chance. It has ended once there was no burst for two days. */
export const hasHastyBursts = (bursts: HastyBursts | null, now: Instant): bursts is HastyBursts =>
  bursts !== null && bursts.since !== null && isRecent(bursts, now);

/** From the first clear burst on until they have ended, nothing should be learnt from the sensor. */
export const isPossiblyHasty = (bursts: HastyBursts | null, at: Instant): boolean =>
  bursts !== null && bursts.points >= pointsSuspected && isRecent(bursts, at);

/** A burst goes on, or has just ended. */
export const isHastyBurst = (bursts: HastyBursts | null, at: Instant): boolean =>
  bursts !== null && bursts.burstAt !== null && Math.abs(at - bursts.burstAt) < burstGapMin;

/** Null where nothing of it can matter any more. */
export const withoutOldBursts = (bursts: HastyBursts | null, at: Instant): HastyBursts | null =>
  bursts !== null &&
  remainingPoints(bursts, at) === 0 &&
  !isRecent(bursts, at) &&
  (bursts.quickAt === null || bursts.quickAt < earlierBy(at, burstGapMin))
    ? null
    : bursts;

const initialBursts = (at: Instant): HastyBursts => ({
  quickAt: null,
  points: 0,
  pointsAt: at,
  burstAt: null,
  burstPoints: 0,
  bursts: 0,
  firstAt: at,
  since: null,
});

const isRecent = ({ burstAt }: HastyBursts, now: Instant): boolean => burstAt !== null && now - burstAt < endedAfter;

const remainingPoints = ({ points, pointsAt }: HastyBursts, now: Instant): number =>
  Math.max(0, points - drainPerDay * inDays(Math.max(0, now - pointsAt) as Span));

// All from here: our choice. Healthy worlds at 45 N, 68 N and 35 S make up to one such burst a week, of a point; contacts that
// chatter make two to a hundred a day, of two to three points.
const burstGapMin = minutes(1);
/** So that one strange minute, of a bird after all, is never enough. */
const burstPointsMax = 3;
/** Beside a landing it may be a bird that hammers. */
const accompaniedPoints = 1 / 3;
const pointsChattering = 8;
const pointsSuspected = 2;
const pointsMax = 12;
const drainPerDay = 1;
/** A contact that is dry for a day may be wet again the next. */
const endedAfter = hours(48);
