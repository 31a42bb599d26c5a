import { signal } from "@preact/signals";
import type { ApiResult } from "./api.ts";

/** How many parts of the page wait for another try after the server had a problem. */
export const retryingLoads = signal(0);

/** While the page is visible, the server's return is noticed within 5 s: the longest wait, one request and a little more. */
export const visibleRetryMaxMs = 4_000;
/** While it is hidden; it loads again as soon as it is visible. */
export const hiddenRetryMaxMs = 60_000;
/** More requests don't help a server that has a problem. Our choice. */
const problemRetryMaxMs = 30_000;
const retryAfterMaxMs = 60 * 60_000;

/**
 * The wait before the next try: doubles from one second to the longest, less a random share of up to a half so that many
 * phones don't try at once. Never shorter than the server's Retry-After.
 * @param random 0..1
 * @param retryAfterMs the server's Retry-After; 0 where it sent none
 */
export function retryDelayMs(failures: number, random: number, longestMs: number, retryAfterMs = 0): number {
  const full = Math.min(longestMs, 1_000 * 2 ** Math.min(failures, 16));
  const own = Math.round(full * (1 - random / 2));
  // Spread over a second after the time that the server named to all.
  return Math.max(own, retryAfterMs > 0 ? Math.min(retryAfterMs, retryAfterMaxMs) + Math.round(1_000 * random) : 0);
}

/** Whether the same request may succeed later: the server had a problem, or too many requests (RFC 9110, RFC 6585). */
const isTemporary = (result: ApiResult<unknown>): boolean =>
  result.kind === "problem" && (result.problem.status >= 500 || result.problem.status === 429);

export const requestedRetryDelay = (result: ApiResult<unknown>): number =>
  result.kind === "problem" || result.kind === "unreachable" ? (result.retryAfterMs ?? 0) : 0;

/**
 * Repeats a request until its result is final. It stops where the server can't be reached: the page loads again when the
 * connection is back.
 * @returns stops it
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
    const result = await load();
    if (ended) return;
    count(isTemporary(result));
    if (!isTemporary(result)) return;
    const wait = retryDelayMs(failures, Math.random(), problemRetryMaxMs, requestedRetryDelay(result));
    retry = setTimeout(() => void ask(failures + 1), wait);
  };
  void ask(0);
  return () => {
    ended = true;
    clearTimeout(retry);
    count(false);
  };
}
