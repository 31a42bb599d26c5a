export const shownOnceTitle = "This key is shown only now.";
export const shownOnceText =
  "Enter it in the feeder's program. The server can't show it again. If you lose it, create a new key.";
export const keyLabel = "Key";
export const tryText = "Try it from any computer that reaches this server:";
export const firstReportLabel = "First report";
export const tryHint =
  "You can run it more than once. It does not start an alarm. Missing reports are watched after one hour of regular reports.";
export const waitingText = (feeder: string) => `Waiting for ${feeder}'s first report…`;
export const receivedText = (ago: string) => `Report received ${ago}.`;
