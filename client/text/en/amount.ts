export const gramsText = (mass: string) => `${mass} g`;
export const kilogramsText = (mass: string) => `${mass} kg`;

/** From empty to full, in the order of `fullnessText`. */
export const fullnessTexts = [
  "empty",
  "nearly empty",
  "about an eighth full",
  "about a quarter full",
  "about a third full",
  "about half full",
  "about two thirds full",
  "about three quarters full",
  "nearly full",
  "full",
] as const;
