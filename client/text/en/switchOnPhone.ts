/** Each text has a first part in bold. */
export const insecureTitle = "Notifications need HTTPS, and this page uses HTTP.";
export const insecureText = "Set up HTTPS on the server (see its guide) and open that address. Everything else works.";
export const homeScreenTitle = "On this phone, add Pieward to the home screen first:";
export const homeScreenText = "Share, then “Add to Home Screen”. Open it from there and come back to this page.";
export const blockedTitle = "Notifications are blocked for this page.";
export const blockedText = "Allow them in the browser's settings for this page, then come back.";
export const unsupportedText = "This browser does not support notifications. Try another browser or another phone.";
export const formTitle = "Notifications on this phone";
export const nameLabel = "Name of this phone";
export const turnOnLabel = "Turn on";
