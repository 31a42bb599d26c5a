/** Texts that several screens share, none of them the first. */
export const feederNotFoundText = "This feeder was not found.";
export const yardNotFoundText = "This yard was not found.";
export const cannotReachText = "Can't reach the server.";
export const nameLabel = "Name";
export const onlyKeepersText = (yard: string) => `Only keepers of ${yard} can change this.`;
export const settingsTitle = (feeder: string) => `Settings of ${feeder}`;
export const planLabel = "Feeding plan";
export const yardTrainingLabel = (yard: string) => `Training of ${yard}`;
export const benchLabel = "Bench run";
