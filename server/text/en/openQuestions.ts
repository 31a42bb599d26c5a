export const openQuestions = {
  level: "Enter how much food is in the hopper, or enter a refill.",
  portionMass: "Enter the weight of a portion. Until then the forecast uses a typical value.",
  hopperCapacity: "Enter the hopper's capacity. Until then the forecast uses a typical value.",
  both: "Enter the weight of a portion and the hopper's capacity. Until then the forecast uses typical values.",
};
