export const title = "Passkeys";
export const introText =
  "A passkey lets you sign in with your device's lock: fingerprint, face or PIN. Your passphrase still works.";
export const unreachableText = "Can't reach the server.";
export const addedText = "Passkey added.";
export const renamedText = "Passkey renamed.";
export const removedText = "Passkey removed.";
export const noAddressText =
  "Passkeys need an HTTPS address with a host name. This server has none (PUBLIC_URL). Sign in with your passphrase.";
/** Links: the server's own address. */
export const otherAddressText = (address: string) =>
  `Passkeys work only at this server's own address. Open [${address}] to add one.`;
export const unsupportedText = "This browser can't use passkeys. Sign in with your passphrase.";
export const maximumText = (count: number) => `You have ${count} passkeys, the maximum.`;
export const newNameLabel = "Name of the new passkey";
export const newNameHint = "For example: my phone, security key.";
export const thisDeviceName = "This device";
export const addLabel = "Add a passkey";
export const notUsedText = (addedAgo: string) => `Added ${addedAgo}, not used yet.`;
export const usedText = (addedAgo: string, usedAgo: string) => `Added ${addedAgo}, last used ${usedAgo}.`;
export const syncedText = "Copied to your other devices.";
export const renameFieldLabel = "New name";
export const renameLabel = (passkey: string) => `Rename ${passkey}`;
export const removeLabel = (passkey: string) => `Remove ${passkey}`;
