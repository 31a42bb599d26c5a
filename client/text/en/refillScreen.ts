export const notFoundTitle = "Refill";
export const title = (feeder: string) => `Refill ${feeder}`;
export const question = "What did you do?";
export const filledLabel = "Filled completely";
export const addedLabel = "Added some food";
export const levelLabel = "Checked the level";
export const capacityHint = (mass: string, food: string) => `${mass} of ${food}`;
export const assumedCapacityHint = (mass: string) => `Capacity not entered. ${mass} is assumed.`;
export const unnamedFood = "food";
export const addedGramsLabel = "Food added";
export const levelGramsLabel = "Food in the hopper";
export const gramsUnit = "g";
export const enterGramsText = "enter the grams";
export const notSavedText = "not saved: see the message above";
export const cleanText = "Throw out wet or mouldy food, and clean the tray before you fill up.";

/** Names of the action, for the list of what is not sent yet. */
export const filledAction = "refill: full";
export const addedAction = (mass: string) => `refill of ${mass}`;
export const levelAction = (mass: string) => `level ${mass}`;
