export const reachabilityTexts = {
  proved: "Reachable.",
  unproved: "Not confirmed.",
  lost: "Not reachable.",
} as const;
