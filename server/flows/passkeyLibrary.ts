/**
 * The library that reads and verifies passkeys. A start would wait a third of a second for it and hold 30 MB, and a passkey is used
 * once in a while: so it is loaded at the first use.
 */
export const loadPasskeyLibrary = async () => ({
  ...(await import("@simplewebauthn/server")),
  ...(await import("@simplewebauthn/server/helpers")),
});

export type PasskeyLibrary = Awaited<ReturnType<typeof loadPasskeyLibrary>>;
