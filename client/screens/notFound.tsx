import { feedersTitle, loadingText } from "#text/common.ts";
import { cannotReachText } from "#text/screens.ts";
import type { ApiResult } from "../api/api.ts";
import { Screen } from "../components/screen.tsx";
import { connectionState, home } from "../state/home.ts";

export const backToFeeders = { href: "/", name: feedersTitle } as const;

/**
 * What a screen shows whose feeder or yard is not there, or not loaded yet. Not a component: the screen stays the same one
 * when it is loaded, so the focus does not move to its heading.
 */
export function notFoundScreen(title: string, text: string) {
  const isLoading = home.value === null && connectionState.value !== "offline";
  return (
    <Screen title={title} back={backToFeeders}>
      <p class={isLoading ? "empty first-load" : "empty"}>{isLoading ? loadingText : text}</p>
    </Screen>
  );
}

/** Why the server's response can't be used; null where it can. */
export function loadErrorText(result: ApiResult<unknown>): string | null {
  if (result.kind === "ok") return null;
  return result.kind === "unreachable" ? cannotReachText : result.problem.detail;
}
