export const outOfServiceText = (name: string, reason: string) => `Out of service (${name}): “${reason}”`;
export const checkNeededText = "The alarm has ended, but something may be damaged. Go and check.";
export const detailsSummary = "Details";
export const valueTimeText = (time: string) => `at ${time}`;
export const alsoCausedText = (alarms: string) => `Also caused by this: ${alarms}`;

/** Buttons. */
export const refilledLabel = "I refilled it";
export const okLabel = "OK";
export const checkedLabel = "I have checked";
export const returnToServiceLabel = "Return to service";

/** Actions, as they are listed until they are sent. */
export const checkedAction = (alarm: string) => `mark as checked: ${alarm}`;
export const returnToServiceAction = (alarm: string) => `return to service: ${alarm}`;
