export const priorityText = {
  urgent: "urgent: act now",
  soon: "act today",
  note: "information",
} as const;

/** For screen readers, when something changes. */
export const raisedText = (alarm: string, priority: string) => `${alarm}, ${priority}.`;
export const endedText = (alarm: string) => `${alarm} has ended.`;
export const endedCheckText = (alarm: string) => `${alarm} has ended. Check the feeder.`;
export const orderChangedText = (order: string, state: string) => `${order} ${state}.`;
export const changesText = (feeder: string, changes: string) => `${feeder}: ${changes}`;
