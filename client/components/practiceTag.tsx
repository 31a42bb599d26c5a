/** Marks whatever is only practice: in word and in pattern, so that it never rests on colour alone. */
export const PracticeTag = () => (
  <span class="practice-tag">
    <span class="hidden">, </span>practice
  </span>
);
