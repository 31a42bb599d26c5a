import { feedersTitle, loadingText } from "#text/common.ts";
import { cannotReachText } from "#text/screens.ts";
import type { ApiResult } from "../api/api.ts";
import { Screen } from "../components/screen.tsx";
import { connectionState, home } from "../state/home.ts";

export const backToFeeders = { href: "/", name: feedersTitle } as const;

/** In place of a screen whose feeder or yard is not there, or not loaded yet. */
export function NotFound(props: { readonly title: string; readonly text: string }) {
  const isLoading = home.value === null && connectionState.value !== "offline";
  return (
    <Screen title={props.title} back={backToFeeders}>
      <p class={isLoading ? "empty opening" : "empty"}>{isLoading ? loadingText : props.text}</p>
    </Screen>
  );
}

/** Why the server's answer can't be used; null where it can. */
export function loadErrorText(answer: ApiResult<unknown>): string | null {
  if (answer.kind === "ok") return null;
  return answer.kind === "unreachable" ? cannotReachText : answer.problem.detail;
}
