import { type Instant, later, type Span } from "../instant.ts";

/**
 * How hard a sensor counts, to tell a bouncing contact, damp or something that lies on it from birds: a sum that each
 * count fills and time drains (CUSUM, Page 1954, for a rate). A bird that hammers thirty times in ten seconds is far from
 * filling it, one count a second that goes on for minutes isn't.
 */
export interface Chatter {
  readonly load: number; // counts above what birds may do
  readonly at: Instant; // `load` is as of this moment
  readonly from: Instant; // it was last at nothing
  readonly counts: number; // since then
  readonly since: Instant | null; // it chatters since; null: it doesn't
}

export const quiet = (now: Instant): Chatter => ({ load: 0, at: now, from: now, counts: 0, since: null });

/** One event. Written out, not spread: it runs for most events. */
export function struck(chatter: Chatter, at: Instant): Chatter {
  if (at < chatter.at) return chatter; // a backlog's: how quickly it came then can't be told among what came since
  const left = drained(chatter, at);
  const anew = left === 0;
  const load = Math.min(loadMax, left + 1);
  return {
    load,
    at,
    from: anew ? at : chatter.from,
    counts: anew ? 1 : chatter.counts + 1,
    since: sinceOf(chatter.since, left, load, at),
  };
}

/** A total grew by so many that no event told of, some time in the last `within`: what birds may do in that time is none. */
export function grew(chatter: Chatter, counts: number, within: Span, at: Instant): Chatter {
  const left = drained(chatter, at);
  const load = Math.min(loadMax, left + Math.max(0, counts - birdsMost * within));
  const anew = left === 0;
  return {
    load,
    at: later(chatter.at, at),
    from: anew ? ((at - within) as Instant) : chatter.from,
    counts: anew ? counts : chatter.counts + counts,
    since: sinceOf(chatter.since, left, load, at),
  };
}

export const chattersAt = (chatter: Chatter, now: Instant): boolean =>
  chatter.since !== null && drained(chatter, now) > loadOver;

/** So much that nothing should be learnt from it, though it may yet turn out to be a flock. */
export const isSuspect = (chatter: Chatter): boolean => chatter.load > loadSuspect;

const drained = ({ load, at }: Chatter, now: Instant): number => Math.max(0, load - birdsMost * Math.max(0, now - at));

const sinceOf = (since: Instant | null, left: number, load: number, at: Instant): Instant | null =>
  load >= loadChattering ? (left > loadOver && since !== null ? since : at) : left > loadOver ? since : null;

/**
 * The most that birds do for long, counts a millisecond: one in four seconds, on end, which is a full flock's landings.
 * Common practice, no source.
 */
const birdsMost = 0.25 / 1_000;
/** Five bouts of thirty presses in ten seconds within a minute and a half are still some bird's idea of fun. Likewise. */
const loadChattering = 150;
const loadSuspect = loadChattering / 3;
const loadOver = loadChattering / 2;
/** Drains away in a quarter of an hour after the last count. */
const loadMax = 1.5 * loadChattering;
