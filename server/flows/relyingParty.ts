import { texts } from "../text/index.ts";

/** Where passkeys work: WebAuthn requires HTTPS and a host name; on this machine itself `localhost` is allowed too. */
export interface RelyingParty {
  readonly id: string; // host name
  readonly origin: string; // with scheme and port
}

/**
 * The public address decides. Without one, only a request to `localhost` is accepted as our address: no other page can have that
 * origin, while any other host name in a request may be false.
 * @param requested the address in the request, such as http://localhost:8080
 * @returns null where passkeys can't work
 */
export function relyingParty(publicUrl: string | null, requested: string): RelyingParty | null {
  const address = publicUrl ?? requested;
  if (!URL.canParse(address)) return null;
  const { hostname, protocol, origin } = new URL(address);
  const isLocal = hostname === "localhost" || hostname.endsWith(".localhost");
  if (isLocal) return { id: hostname, origin };
  const isNumber = hostname.startsWith("[") || /^[\d.]+$/.test(hostname); // `URL` writes each IPv4 address in this form
  if (publicUrl === null || protocol !== "https:" || isNumber) return null;
  return { id: hostname, origin };
}

export const noRelyingParty = texts.signIn.noRelyingParty;
