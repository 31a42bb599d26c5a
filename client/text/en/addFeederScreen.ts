export const title = "Add a feeder";
/** Links: safety information. */
export const safetyText = "Before you use it, read the [safety information]: birds, food, litter, mains and batteries.";
export const yardQuestion = "In which yard?";
export const optionalTitle = "Portion, sensors, battery";
export const optionalText = "Optional now. Until then, sensors that report are used, and typical weights are assumed.";
export const addLabel = "Add the feeder";
export const addedTitle = (feeder: string) => `${feeder} is added`;
export const goToLabel = (feeder: string) => `Go to ${feeder}`;
