export const unsupportedText =
  "Passkeys need HTTPS and a host name. At this address, sign in with your name and passphrase.";
export const signInLabel = "Sign in with a passkey";
