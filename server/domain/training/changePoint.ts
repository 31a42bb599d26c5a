import type { Instant } from "../instant.ts";
import { logBeta, studentTail } from "./betaDistribution.ts";
import type { Session } from "./sessions.ts";

/**
 * Where the record changed: the algorithm of Gallistel, Fairhurst & Balsam 2004, PNAS 101:13124, on the cumulative record of successes by
 * session. The candidate is the point that lies farthest from the straight line between the last change and now; it is accepted where
 * the sessions before and after differ enough. What is known of a site comes in steps, not in a smooth curve, since each bird learns at once.
 */
export interface ChangePoint {
  /** Index of the first session after the change. */
  readonly session: number;
  readonly from: Instant; // of that session
  readonly shareBefore: number;
  readonly shareAfter: number;
  /** log₁₀((1 − p)/p) of the test of before against after. */
  readonly logit: number;
  /** Of a change at some session to none, by the Bayesian check; above 1 it speaks for a change. */
  readonly bayesFactor: number;
}

/** p of about 0.001, and a factor of ten by the other way: both must agree. */
const changeLogitMin = 3;
const changeBayesMin = 10;

/** Changes in order of time. */
export function changePoints(sessions: readonly Session[]): readonly ChangePoint[] {
  const found: ChangePoint[] = [];
  let begin = 0;
  for (let end = begin + 2 * sessionsASide; end <= sessions.length; end += 1) {
    const change = changeWithin(sessions, begin, end);
    if (change === null) continue;
    found.push(change);
    begin = change.session;
    end = Math.max(end, begin + 2 * sessionsASide - 1);
  }
  return found;
}

/** Two sessions have a variance. */
const sessionsASide = 3;

function changeWithin(sessions: readonly Session[], begin: number, end: number): ChangePoint | null {
  const span = sessions.slice(begin, end);
  const at = farthestFromLine(span.map(shareOf));
  if (at < sessionsASide || span.length - at < sessionsASide) return null;
  const [before, after] = [span.slice(0, at), span.slice(at)];
  const logit = logitOf(welchP(before.map(shareOf), after.map(shareOf)));
  if (logit < changeLogitMin) return null;
  const bayesFactor = changeBayesFactor(span);
  if (bayesFactor < changeBayesMin) return null;
  return {
    session: begin + at,
    from: (after[0] as Session).from,
    shareBefore: pooledShare(before),
    shareAfter: pooledShare(after),
    logit,
    bayesFactor,
  };
}

const shareOf = ({ successes, trials }: Session): number => successes / trials;

const pooledShare = (sessions: readonly Session[]): number =>
  sessions.reduce((sum, { successes }) => sum + successes, 0) / sessions.reduce((sum, { trials }) => sum + trials, 0);

/** How many values come before the point of the cumulative record that lies farthest from its chord. */
export function farthestFromLine(values: readonly number[]): number {
  const total = values.reduce((sum, value) => sum + value, 0);
  let [sum, farthest, place] = [0, -1, 0];
  for (const [index, value] of values.entries()) {
    sum += value;
    const deviation = Math.abs(sum - (total * (index + 1)) / values.length);
    if (deviation > farthest) [farthest, place] = [deviation, index + 1];
  }
  return place;
}

/** log₁₀ of the odds against p. */
export const logitOf = (p: number): number => Math.log10((1 - p) / p);

/** Welch's t of two samples, two-sided (Welch 1947, Biometrika 34:28). Samples without any spread get that of one trial in ten. */
function welchP(a: readonly number[], b: readonly number[]): number {
  const [first, second] = [varianceOfMean(a), varianceOfMean(b)];
  const variance = first + second;
  const freedom = variance ** 2 / (first ** 2 / (a.length - 1) + second ** 2 / (b.length - 1));
  return Math.max(1e-12, studentTail((meanOf(a) - meanOf(b)) / Math.sqrt(variance), freedom));
}

const leastSpread = 0.05;

function varianceOfMean(values: readonly number[]): number {
  const mean = meanOf(values);
  const squares = values.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return Math.max(squares / (values.length - 1), leastSpread ** 2) / values.length;
}

const meanOf = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / values.length;

/** One change at any session, each as likely as another, against none; the shares uniform before anything was seen (beta-binomial). */
export function changeBayesFactor(sessions: readonly Session[]): number {
  const successes = sessions.reduce((sum, session) => sum + session.successes, 0);
  const trials = sessions.reduce((sum, session) => sum + session.trials, 0);
  const withoutChange = logBeta(successes + 1, trials - successes + 1);
  let [hits, seen, sum] = [0, 0, 0];
  for (const session of sessions.slice(0, -1)) {
    hits += session.successes;
    seen += session.trials;
    const [rest, restHits] = [trials - seen, successes - hits];
    sum += Math.exp(logBeta(hits + 1, seen - hits + 1) + logBeta(restHits + 1, rest - restHits + 1) - withoutChange);
  }
  return sessions.length < 2 ? 1 : sum / (sessions.length - 1);
}
