/** Actions as they are listed until they are sent, and what came of them. */
export const acknowledgeText = (alarm: string) => `acknowledge ${alarm}`;
export const pauseAllText = "pause all feeders";
export const resumeAllText = "resume all feeders";
export const notSentText = (target: string, action: string) => `${target}: ${action}: not sent yet.`;
export const expiredText = (target: string, action: string) =>
  `${target}: “${action}” could not be sent in time and was discarded. Nothing has changed.`;
export const refusedText = (target: string, action: string, reason: string) =>
  `${target}: “${action}” was not accepted. ${reason}`;
export const skippedText = (target: string, action: string, feeders: string, count: number) =>
  `${target}: “${action}” did not include ${feeders}, because ${count === 1 ? "it is" : "they are"} in the workshop or in storage.`;
