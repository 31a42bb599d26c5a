/** What the service worker shows. */
export const acknowledgeLabel = "Acknowledge";
export const pauseLabel = "Pause the feeder";
export const acknowledgeAction = "acknowledge";
export const acknowledgeAlarmAction = (alarm: string) => `acknowledge ${alarm}`;
export const pauseAction = "pause until resumed";
export const defaultTitle = "Pieward";
export const defaultText = "Open Pieward to see the message.";

/** What came of an action on a notification. */
export const pauseRequestedText = "Pause requested. Wait for the feeder's confirmation.";
export const acknowledgedText = "Acknowledged.";
export const notSentText = (expires: string) =>
  `Not sent yet. It is discarded if there is no connection by ${expires}.`;
export const signedOutText = "Not sent: open Pieward and sign in.";
export const refusedText = (reason: string) => `Not done: ${reason}`;
export const noReasonText = "the server did not accept it.";
export const sentByPageText = "Sent. See the result in Pieward.";
export const raisedAgainText = "The alarm has changed since then. Check it again.";
export const expiredText = "Too late: not sent in time and discarded. Nothing has changed.";

export const phoneLostTitle = "This phone may not get notifications";
export const phoneLostText = "Open Pieward and turn notifications on again.";
