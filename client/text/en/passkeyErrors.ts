/** Why a device gave no passkey. */
export const deviceTitle = "The device";
export const notUsedText = "No passkey was used. Either it was cancelled, or the device has none for this address.";
export const existsText = "This device already has a passkey for you.";
export const notSupportedText =
  "This device can't store a passkey. It needs a screen lock, a fingerprint, a face or a PIN.";
export const wrongAddressText = "Passkeys don't work at this address. Use your passphrase here.";
export const otherText = (message: string) => `The device reports an error: ${message}`;
