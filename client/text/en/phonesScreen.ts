export const title = "You";
export const introText = "You get a notification only when action is needed. Everything else is in the daily digest.";
export const listTitle = "Your phones";
export const thisPhoneText = "(this phone)";
export const unnamedPhone = "This device";
export const sendTestLabel = "Send a test to all";
export const removeLabel = (phone: string) => `Remove ${phone}`;

export const sameAddressText =
  "Registration failed: the browser gave an invalid address again. Restart the browser, or use another browser.";
export const notAllowedText = "Permission was not given. You can change this in the browser's settings for this page.";
export const turnOnFailedText = (reason: string) => `Could not turn on: ${reason}`;
export const tryWithConnectionText = "Can't reach the server. Try again when there is a connection.";

export const phoneLimitText = (count: number) => `You have ${count} phones, the maximum.`;
export const removeOneText = "Remove one to add this one.";
export const neverShownText = (phone: string) => `“${phone}” never showed a notification.`;
export const lastShownText = (phone: string, ago: string) => `“${phone}” last showed a notification ${ago}.`;

/** What to do, by the kind of warning. */
export const warningAdvice = {
  noPhone: "Turn on notifications, or you get no alarms.",
  thisPhoneLost: "Turn on again below.",
  thisPhoneBlocked: "Allow notifications in the browser's settings for this page.",
  renewalPending: "It is sent when there is a connection.",
} as const;

/** What this browser knows of its own entry before the server does, by the kind of warning. */
export const lostPhoneTexts = {
  thisPhoneBlocked: "Notifications are blocked.",
  renewalPending: "Waiting for a new address.",
  thisPhoneLost: "The registration is lost.",
} as const;

export const nothingSentText = "Nothing sent yet.";
export const nothingSentYetAdvice = "Nothing sent yet. Send a test.";
export const lastAcceptedText = (ago: string) => `Its push service last accepted a notification ${ago}.`;

export const signOutLabel = "Sign out";
export const signedInText = (name: string) => `${name} is signed in.`;
export const signOutText = "Signing out deletes all data on this phone, including actions that are not sent yet.";
export const signOutOfflineText = "Signing out needs a connection, so that the session ends on the server too.";
