export const settingsTitle = "Your settings";
export const accountLabel = "Account";
export const accountText = "passphrase, passkeys, where you are signed in";
/** Of each yard. */
export const quietHoursLabel = (yard: string) => `Quiet hours, ${yard}`;
export const quietHoursText = "when it may ring, e-mail, who is notified";
export const yardLabel = (yard: string) => `Yard ${yard}`;
export const yardText = "place, time, people, disease notice";
export const moreTitle = "More";
export const practiceLabel = "Practice";
export const practiceText = "a feeder that only exists here, with faults to try";
export const safetyText = "birds, food, batteries, power";
export const interfaceLabel = "Interface";
export const interfaceText = "for a feeder's program of your own";
export const serverLabel = "Server";
export const serverTexts = {
  well: "well",
  notWell: "has a problem; its log names it",
  unreachable: "can't be reached",
  asking: "asking…",
} as const;
export const brokerTexts = { connected: ", broker connected", notConnected: ", broker not connected" } as const;
