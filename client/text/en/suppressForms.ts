export const shelveSummary = "Later…";
export const shelveHint =
  "No notifications until the time you choose. If the problem is still there then, you are notified again.";
export const shelveHourLabel = "for 1 hour";
export const shelveMorningLabel = (time: string) => `until tomorrow at ${time}`;
export const shelveDaysLabel = "for 3 days";
export const shelveAction = (alarm: string, duration: string) => `shelve ${alarm} ${duration}`;

export const outOfServiceSummary = "Out of service…";
export const outOfServiceHint =
  "No notifications until somebody returns it to service. Use this for a broken part that waits for repair. For a few days, shelve it instead.";
export const reasonLabel = "Reason";
export const reasonMissingText = "enter a reason";
export const reasonExample = "wire cut, new one ordered";
export const outOfServiceLabel = "Take out of service";
export const outOfServiceAction = (alarm: string) => `take ${alarm} out of service`;
