import { texts } from "../text/index.ts";
/** Where passkeys work: WebAuthn asks for HTTPS and a host name; on this very machine `localhost` is as good. */
export interface RelyingParty {
  readonly id: string; // host name
  readonly origin: string; // with scheme and port
}

/**
 * The public address decides. Without one, only a request to `localhost` is trusted to name our address: no other page can
 * have that origin, while a host name that a request brings along may be anybody's.
 * @param requested where the request says that it came to, such as http://localhost:8080
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
