import { useEffect } from "preact/hooks";
import { askUntilAnswered } from "../reach/again.ts";
import type { Answer } from "../reach/api.ts";
import { returns } from "../state/home.ts";

/**
 * Loads a part of a screen when it is opened, when one of `reasons` changes and when the server is back. Where the server has
 * a problem with it, it is asked for again until it answers or the screen is left.
 * @param waitMs before the first try, so that reasons that come in a row ask once
 */
export function useLoad(load: () => Promise<Answer<unknown>>, reasons: readonly unknown[], waitMs = 0): void {
  useEffect(() => {
    let end = () => {};
    const begin = setTimeout(() => {
      end = askUntilAnswered(load);
    }, waitMs);
    return () => {
      clearTimeout(begin);
      end();
    };
  }, [...reasons, returns.value]);
}
