export const notFoundTitle = "Recipients";
export const title = (yard: string) => `Recipients of ${yard}`;
export const phonesLabel = "Your phones";
export const movedUpText = (name: string) => `${name} moved up.`;
export const movedDownText = (name: string) => `${name} moved down.`;
export const isKeeperText = (name: string) => `${name} is a keeper now.`;
export const isHelperText = (name: string) => `${name} is a helper now.`;
export const removedText = (name: string) => `${name} removed.`;

export const escalationTitle = "Escalation";
export const escalateLabel = "Notify the next person after";
export const escalateHint = "Time to acknowledge an urgent alarm before the next person is notified.";
export const minutesUnit = "minutes";
