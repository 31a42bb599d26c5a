/** The alarms on a feeder's page. */
export const sinceText = (time: string) => `since ${time}`;
export const acknowledgedText = (time: string) => `since ${time}, acknowledged`;
export const endedText = (time: string) => `ended, started ${time}`;
export const checkNeededText = (time: string) => `ended, check needed, started ${time}`;
export const acknowledgedCheckNeededText = (time: string) => `ended and acknowledged, check needed, started ${time}`;
export const shelvedText = "shelved";
export const shelvedUntilText = (time: string) => `shelved until ${time}`;
export const suppressedText = (time: string) => `since ${time}; no notification for now`;
export const causedByText = (time: string, cause: string) => `since ${time}; caused by “${cause}”`;
export const outOfServiceText = "out of service";
export const outOfServiceSinceText = (time: string) => `out of service since ${time}`;

export const endedBadge = "ended";
export const checkNeededBadge = "check needed";
export const suppressedBadge = "no notifications";

export const noAlarmsTitle = "No alarms";
export const alarmCountText = (count: number) => (count === 1 ? "One alarm" : `${count} alarms`);
export const noteCountText = (count: number) => (count === 1 ? "A note" : `${count} notes`);
export const alarmAndNoteCountText = (alarms: number, notes: number) =>
  `${alarmCountText(alarms)} and ${notes === 1 ? "a note" : `${notes} notes`}`;

export const inWorkshopText = "In the workshop: no notifications. Everything is still recorded.";
export const inStorageText = "In storage: notifications only about its battery.";
