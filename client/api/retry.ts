import { signal } from "@preact/signals";
import type { ApiResult } from "./api.ts";

/** How many parts of the page wait to be asked for again after the server had a problem with them. */
export const retryingLoads = signal(0);

/** While the page is looked at, the server's return is seen within 5 s: the longest wait, one exchange and a little. */
export const visibleRetryMaxMs = 4_000;
/** Nobody looks: what is shown is asked for anew as soon as somebody does. */
export const hiddenRetryMaxMs = 60_000;
/** A server that has a problem isn't helped by more requests. Common practice, no source. */
const problemRetryMaxMs = 30_000;
const retryAfterMaxMs = 60 * 60_000;

/**
 * The wait before the next try: doubles from one second to the longest, less a share of up to a half so that many phones
 * spread out. Never shorter than the server asked for.
 * @param chance 0..1
 * @param retryAfterMs what the server asked for; 0 where it asked for nothing
 */
export function retryDelayMs(failures: number, chance: number, longestMs: number, retryAfterMs = 0): number {
  const full = Math.min(longestMs, 1_000 * 2 ** Math.min(failures, 16));
  const own = Math.round(full * (1 - chance / 2));
  // Spread over a second past the moment that the server named to everybody.
  return Math.max(own, retryAfterMs > 0 ? Math.min(retryAfterMs, retryAfterMaxMs) + Math.round(1_000 * chance) : 0);
}

/** Whether the same request may well be answered later: the server had a problem, or too many asked (RFC 9110, RFC 6585). */
export const isTemporary = (answer: ApiResult<unknown>): boolean =>
  answer.kind === "problem" && (answer.problem.status >= 500 || answer.problem.status === 429);

export const requestedRetryDelay = (answer: ApiResult<unknown>): number =>
  answer.kind === "problem" || answer.kind === "unreachable" ? (answer.retryAfterMs ?? 0) : 0;

/**
 * Asks until the answer is one that asking again wouldn't change. Where the server isn't reached it leaves off: whoever sees
 * its return asks anew.
 * @returns ends it
 */
export function retryUntilAnswered(load: () => Promise<ApiResult<unknown>>): () => void {
  let ended = false;
  let retry: ReturnType<typeof setTimeout> | undefined;
  let counted = false;
  const count = (waits: boolean) => {
    if (counted !== waits) retryingLoads.value += waits ? 1 : -1;
    counted = waits;
  };
  const ask = async (failures: number): Promise<void> => {
    const answer = await load();
    if (ended) return;
    count(isTemporary(answer));
    if (!isTemporary(answer)) return;
    const wait = retryDelayMs(failures, Math.random(), problemRetryMaxMs, requestedRetryDelay(answer));
    retry = setTimeout(() => void ask(failures + 1), wait);
  };
  void ask(0);
  return () => {
    ended = true;
    clearTimeout(retry);
    count(false);
  };
}
