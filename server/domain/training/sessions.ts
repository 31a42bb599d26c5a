import { type Instant, minutes } from "../instant.ts";
import { type Bout, hasAct } from "./bouts.ts";
import type { ActKind } from "./stage.ts";

/**
 * Trials of the act of a stage. A bout of visits is one trial: it holds the act, or it doesn't. Free food is one trial: birds come to it
 * within half an hour, or they don't. Acts within a bout are no trials of their own: the second press comes after food is in sight.
 */
export interface Trial {
  readonly at: Instant;
  readonly success: boolean;
  /** Of free food: whether birds came in as long a time before it, too. Then they may have come anyway. */
  readonly before?: boolean;
}

/** Trials in a row that count as one observation, so that a bird which tries ten times at once weighs no more than one. */
export interface Session {
  readonly from: Instant;
  readonly successes: number;
  readonly trials: number;
}

const freeFoodVisitedWithin = minutes(30);
const trialsASession = 10;
const trialsASessionMin = 5;

/**
 * @param freePortions moments at which free food fell, in order of time
 * @returns null where it can't be known: without visits nothing tells a bout without an act from an empty garden
 */
export function trialsOf(
  act: ActKind,
  bouts: readonly Bout[],
  freePortions: readonly Instant[],
  seesVisits: boolean,
): readonly Trial[] | null {
  if (!seesVisits) return null;
  if (act !== "freeFood") return bouts.map((bout) => ({ at: bout.from, success: hasAct(bout, act) }));
  return freePortions.flatMap((at, index) => {
    const next = freePortions[index + 1];
    if (next !== undefined && next - at < freeFoodVisitedWithin) return []; // the next one would take the credit
    const isVisited = (begin: number) =>
      bouts.some(({ from, to }) => to >= begin && from <= begin + freeFoodVisitedWithin);
    return [{ at, success: isVisited(at), before: isVisited(at - freeFoodVisitedWithin - 1) }];
  });
}

/** @param trials of one day, in order of time. A rest that is too short for a session of its own joins the one before it. */
export function sessionsOf(trials: readonly Trial[]): readonly Session[] {
  const sessions: Session[] = [];
  for (let start = 0; start < trials.length; start += trialsASession) {
    const part = trials.slice(start, start + trialsASession);
    const session = {
      from: (part[0] as Trial).at,
      successes: part.filter(({ success }) => success).length,
      trials: part.length,
    };
    const last = sessions.at(-1);
    if (last !== undefined && part.length < trialsASessionMin) {
      sessions[sessions.length - 1] = {
        from: last.from,
        successes: last.successes + session.successes,
        trials: last.trials + session.trials,
      };
    } else sessions.push(session);
  }
  return sessions;
}
