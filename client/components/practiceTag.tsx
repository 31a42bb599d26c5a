import { practiceLabel } from "#text/common.ts";

/** Marks practice data: by a text and a pattern, not by colour alone. */
export const PracticeTag = () => (
  <span class="practice-tag">
    <span class="hidden">, </span>
    {practiceLabel}
  </span>
);
