/** Texts that the first page shows, and others with it. Each octet here is part of the first download. */
export const appName = "Pieward";
export const saveLabel = "Save";
export const cancelLabel = "Cancel";
export const acknowledgeLabel = "Acknowledge";
export const loadingText = "Loading…";
export const nothingStoredText = "No connection. Connect once to load your feeders.";
export const unreachableText = "Can't reach the server. Nothing was changed. Try again.";
export const feedersTitle = "Feeders";
export const practiceLabel = "practice";
export const safetyInformationLabel = "Safety information";
export const passphraseLabel = "Passphrase";
