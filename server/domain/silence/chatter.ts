import { type Instant, later, type Span } from "../instant.ts";

/**
 * How hard a sensor counts, to tell a bouncing contact, damp or something that lies on it from birds: a sum that each
 * count fills and time drains (CUSUM, Page 1954, for a rate). A bird that hammers thirty times in ten seconds is far from
 * filling it, one count a second that goes on for minutes isn't.
 */
export interface ChatterState {
  readonly excess: number; // counts above what birds may do
  readonly updatedAt: Instant; // `excess` is as of this moment
  readonly zeroAt: Instant; // it was last zero
  readonly counts: number; // since then
  readonly marks: number; // of them, those that meant a bird to the companions
  readonly since: Instant | null; // it chatters since; null: it doesn't
}

export const initialChatter = (now: Instant): ChatterState => ({
  excess: 0,
  updatedAt: now,
  zeroAt: now,
  counts: 0,
  marks: 0,
  since: null,
});

/** Null where nothing of it can matter any more: what it counted has drained away, and the next count starts again. */
export const withoutDrained = (chatter: ChatterState | null, at: Instant): ChatterState | null =>
  chatter !== null && !isPossiblyChattering(chatter) && remainingExcess(chatter, at) === 0 ? null : chatter;

/** One event. Written out, not spread: it runs for most events. */
export function updateChatterByCount(chatter: ChatterState, at: Instant): ChatterState {
  if (at < chatter.updatedAt) return chatter; // out of a backlog: its rate can't be separated from what came since
  const remaining = remainingExcess(chatter, at);
  const isRestarted = remaining === 0;
  const excess = Math.min(excessMax, remaining + 1);
  return {
    excess,
    updatedAt: at,
    zeroAt: isRestarted ? at : chatter.zeroAt,
    counts: isRestarted ? 1 : chatter.counts + 1,
    marks: isRestarted ? 0 : chatter.marks,
    since: chatteringSince(chatter.since, remaining, excess, at),
  };
}

/** A total grew by so many counts without events, some time in the last `span`: what birds may do in that time is no excess. */
export function updateChatterByGrowth(chatter: ChatterState, counts: number, span: Span, at: Instant): ChatterState {
  const remaining = remainingExcess(chatter, at);
  const excess = Math.min(excessMax, remaining + Math.max(0, counts - birdRateMax * span));
  const isRestarted = remaining === 0;
  return {
    excess,
    updatedAt: later(chatter.updatedAt, at),
    zeroAt: isRestarted ? ((at - span) as Instant) : chatter.zeroAt,
    counts: isRestarted ? counts : chatter.counts + counts,
    marks: isRestarted ? 0 : chatter.marks,
    since: chatteringSince(chatter.since, remaining, excess, at),
  };
}

export const isChattering = (chatter: ChatterState | null, now: Instant): chatter is ChatterState =>
  chatter !== null && chatter.since !== null && remainingExcess(chatter, now) > excessCleared;

/** So much that nothing should be learnt from it, though it may yet turn out to be a flock. */
export const isPossiblyChattering = (chatter: ChatterState | null): boolean =>
  chatter !== null && chatter.excess > excessSuspected;

const remainingExcess = ({ excess, updatedAt }: ChatterState, now: Instant): number =>
  Math.max(0, excess - birdRateMax * Math.max(0, now - updatedAt));

const chatteringSince = (since: Instant | null, remaining: number, excess: number, at: Instant): Instant | null =>
  excess >= excessChattering
    ? remaining > excessCleared && since !== null
      ? since
      : at
    : remaining > excessCleared
      ? since
      : null;

/**
 * The most that birds do for long, counts a millisecond: one in four seconds, on end, which is a full flock's landings.
 * Common practice, no source.
 */
const birdRateMax = 0.25 / 1_000;
/** Five bouts of thirty presses in ten seconds within a minute and a half may still be a bird. Common practice, no source. */
const excessChattering = 150;
const excessSuspected = excessChattering / 3;
const excessCleared = excessChattering / 2;
/** Drains away in a quarter of an hour after the last count. */
const excessMax = 1.5 * excessChattering;
