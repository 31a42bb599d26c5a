export const shownOnceTitle = "This key is shown only once.";
export const shownOnceText =
  "Enter it in the feeder's program. The server can't show it again. If you lose it, create a new key.";
export const keyLabel = "Key";
export const tryText = "Test it on any computer that can reach this server:";
export const firstReportLabel = "First report";
export const tryHint =
  "You can run it more than once. It causes no alarm. After one hour of regular reports, missing reports cause an alarm.";
export const waitingText = (feeder: string) => `Waiting for ${feeder}'s first report…`;
export const receivedText = (ago: string) => `Report received ${ago}.`;
