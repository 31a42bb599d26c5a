export const formLabel = "Confirm that it is you";
export const hint = "For your security, enter your passphrase again.";
export const continueLabel = "Continue";
export const usePasskeyLabel = "Use a passkey instead";
