export const unknownText = "not known";
export const unknownLevelLabel = "The hopper's level is not known yet.";
export const levelLabel = (fullness: string, about: string, low: string, high: string, capacity: string) =>
  `The hopper is ${fullness}: about ${about}, between ${low} and ${high}, of ${capacity}.`;
export const levelWithoutCapacityLabel = (about: string, low: string, high: string) =>
  `About ${about} are in the hopper, between ${low} and ${high}. Its capacity is not entered.`;
