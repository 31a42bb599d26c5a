import { signal } from "@preact/signals";

/** Read out by screen readers: the text of the live region in the frame. */
export const announcement = signal("");

export function announce(text: string): void {
  if (text === "") return;
  // A live region does not read out the same text twice, so a repeated one gets a space that is not read.
  announcement.value = announcement.value === text ? `${text}\u00a0` : text;
}
