import { startAuthentication, startRegistration } from "@simplewebauthn/browser";
import * as text from "#text/passkeyErrors.ts";
import type { PasskeysView } from "../../server/contract/passkeys.ts";
import { type ApiResult, request } from "./api.ts";

/** Passkeys: the server sends a challenge, the device signs it. Loaded only where they are used. */

type CreateOptions = Parameters<typeof startRegistration>[0]["optionsJSON"];
type UseOptions = Parameters<typeof startAuthentication>[0]["optionsJSON"];

/** Browsers allow passkeys over HTTPS or at localhost, and never at a bare number. */
export function hasPasskeySupport(): boolean {
  const isNumber = /^[\d.]+$|^\[/.test(location.hostname);
  return isSecureContext && !isNumber && typeof PublicKeyCredential === "function";
}

export const passkeys = {
  list: () => request<PasskeysView>("GET", "/me/passkeys"),
  rename: (id: string, label: string) => request<PasskeysView>("PATCH", path(id), { label }),
  remove: (id: string) => request<PasskeysView>("DELETE", path(id)),
  add: (label: string) =>
    answerChallenge<CreateOptions, PasskeysView>(
      () => request("POST", "/me/passkeys/options"),
      (optionsJSON) => startRegistration({ optionsJSON }),
      (credential) => request("POST", "/me/passkeys", { label, credential }),
    ),
  signIn: () =>
    answerChallenge<UseOptions, { keeper: { name: string } }>(
      () => request("POST", "/session/passkey/options"),
      (optionsJSON) => startAuthentication({ optionsJSON }),
      (credential) => request("POST", "/session/passkey", { credential }),
    ),
  confirm: () =>
    answerChallenge<UseOptions, null>(
      () => request("POST", "/me/confirm/options"),
      (optionsJSON) => startAuthentication({ optionsJSON }),
      (credential) => request("POST", "/me/confirm", { credential }),
    ),
};
export const confirmByPassphrase = (passphrase: string) => request<null>("POST", "/me/confirm", { passphrase });
const path = (id: string) => `/me/passkeys/${encodeURIComponent(id)}`;

/** Whether the server first needs the passphrase or a passkey again. */
export const needsConfirmation = (result: ApiResult<unknown>): boolean =>
  result.kind === "problem" &&
  result.problem.status === 403 &&
  (result.problem.errors ?? []).some(({ field }) => field === "passphrase");

async function answerChallenge<Options, Value>(
  options: () => Promise<ApiResult<Options>>,
  device: (options: Options) => Promise<object>,
  finish: (credential: object) => Promise<ApiResult<Value>>,
): Promise<ApiResult<Value>> {
  const challenge = await options();
  if (challenge.kind !== "ok") return challenge;
  let credential: object;
  try {
    credential = await device(challenge.value);
  } catch (error) {
    const problem = {
      type: "about:blank",
      title: text.deviceTitle,
      status: 0,
      detail: deviceErrorText(error as Error),
    };
    return { kind: "problem", problem };
  }
  return finish(credential);
}

/** Names of errors as WebAuthn level 3 gives them, sections 5.1.3 and 5.1.4. */
function deviceErrorText({ name, message }: Error): string {
  switch (name) {
    case "NotAllowedError":
    case "AbortError":
      return text.notUsedText;
    case "InvalidStateError":
      return text.existsText;
    case "NotSupportedError":
    case "ConstraintError":
      return text.notSupportedText;
    case "SecurityError":
      return text.wrongAddressText;
    default:
      return text.otherText(message);
  }
}
