/** An action that has not left the phone yet. */
export const queuedText = (action: string) => `${action}: not sent yet.`;
export const queuedDetail = (requested: string, expires: string) =>
  `Requested at ${requested}. It is sent when there is a connection. If it can't be sent by ${expires}, it is discarded.`;
