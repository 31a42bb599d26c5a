import { signal } from "@preact/signals";

/** Said politely to screen readers, by the one live region in the frame. */
export const announcement = signal("");

export function announce(words: string): void {
  if (words === "") return;
  // A repeated sentence is no change to a live region, so it is told apart by a space that can't be heard.
  announcement.value = announcement.value === words ? `${words}\u00a0` : words;
}
