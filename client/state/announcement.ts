import { signal } from "@preact/signals";
import type { VNode } from "preact";

/** Read out by screen readers: the text of the live region in the frame. */
export const announcement = signal("");

/** A note over each page, put there by a part that the first page doesn't load. */
export const frameNote = signal<VNode | null>(null);

export function announce(text: string): void {
  if (text === "") return;
  // A live region does not read out the same text twice, so a repeated one gets a space that is not read.
  announcement.value = announcement.value === text ? `${text}\u00a0` : text;
}
