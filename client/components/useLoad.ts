import { useEffect } from "preact/hooks";
import type { ApiResult } from "../api/api.ts";
import { retryUntilAnswered } from "../api/retry.ts";
import { reconnectCount } from "../state/home.ts";

/**
 * Loads a part of a screen when it is opened, when one of `reasons` changes and when the server is back. Where the server has
 * a problem with it, the request is repeated until it succeeds or the screen is left.
 * @param waitMs before the first try, so that several reasons in a row cause one request
 */
export function useLoad(load: () => Promise<ApiResult<unknown>>, reasons: readonly unknown[], waitMs = 0): void {
  useEffect(() => {
    let end = () => {};
    const begin = setTimeout(() => {
      end = retryUntilAnswered(load);
    }, waitMs);
    return () => {
      clearTimeout(begin);
      end();
    };
  }, [...reasons, reconnectCount.value]);
}
