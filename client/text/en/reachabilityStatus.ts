export const reachabilityTexts = {
  confirmed: "Reachable.",
  unconfirmed: "Not confirmed.",
  lost: "Not reachable.",
} as const;
