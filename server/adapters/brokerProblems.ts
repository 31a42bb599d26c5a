/** Why a broker can't be used, in words for whoever runs the server. None repeats a password. */

const networkProblems: Readonly<Record<string, string>> = {
  ECONNREFUSED: "nothing listens there; is the broker running, and is the port right?",
  ENOTFOUND: "there is no machine of that name; check the host in MQTT_URL",
  EAI_AGAIN: "the name could not be looked up; is the network's name server there?",
  EHOSTUNREACH: "there is no way to that machine",
  ENETUNREACH: "there is no way to that network",
  ETIMEDOUT: "it does not answer; check host and port, and the firewall",
  ECONNRESET: "it ended the connection; an mqtts: port needs mqtts: in MQTT_URL",
  EPIPE: "it ended the connection; an mqtts: port needs mqtts: in MQTT_URL",
  EPROTO: "it does not speak TLS there; a port without TLS needs mqtt: in MQTT_URL",
  ERR_SSL_WRONG_VERSION_NUMBER: "it does not speak TLS there; a port without TLS needs mqtt: in MQTT_URL",
};

const unknownAuthority =
  "its certificate is from an authority that is not known here; name that authority's certificate in MQTT_CA_FILE";

const certificateProblems: Readonly<Record<string, string>> = {
  DEPTH_ZERO_SELF_SIGNED_CERT: unknownAuthority,
  SELF_SIGNED_CERT_IN_CHAIN: unknownAuthority,
  UNABLE_TO_GET_ISSUER_CERT: unknownAuthority,
  UNABLE_TO_GET_ISSUER_CERT_LOCALLY: unknownAuthority,
  UNABLE_TO_VERIFY_LEAF_SIGNATURE: unknownAuthority,
  CERT_SIGNATURE_FAILURE: unknownAuthority,
  CERT_HAS_EXPIRED: "its certificate has expired; renew it",
  CERT_NOT_YET_VALID: "its certificate is not valid yet; check this machine's clock",
  ERR_TLS_CERT_ALTNAME_INVALID: "its certificate is for another name; MQTT_URL must have the host that it names",
};

const wrongLogin = "the broker knows no such user and password; check them in MQTT_URL";
const notAllowed = "the broker doesn't allow this user to connect";
const wrongVersion = "the broker doesn't speak this version of MQTT; set MQTT_VERSION to the other one, 3.1.1 or 5";
const unavailable = "the broker is there, but not ready";
const wrongClientId = "the broker doesn't allow the client id of this server";

/** Of a refused connection: MQTT 3.1.1, table 3.1, and MQTT 5, table 3-1. */
const refusals: Readonly<Record<number, string>> = {
  1: wrongVersion,
  2: wrongClientId,
  3: unavailable,
  4: wrongLogin,
  5: notAllowed,
  132: wrongVersion,
  133: wrongClientId,
  134: wrongLogin,
  135: notAllowed,
  136: unavailable,
  137: unavailable,
  138: notAllowed,
};

/** Of a connection that the broker ends (MQTT 5, table 3-10). */
const endings: Readonly<Record<number, string>> = {
  135: notAllowed,
  139: "the broker was stopped",
  141: "the broker heard nothing from this server",
  142: "another client has connected with this server's client id; is a second server running?",
  149: "a message was larger than the broker accepts",
  151: "the broker's quota is used up",
};

/** @param error what the library gave: a system error, one of TLS, or a refusal of the broker */
export function connectProblem(error: Error & { readonly code?: string | number }): string {
  const { code, message } = error;
  if (typeof code === "number") return refusals[code] ?? `the broker refused the connection with code ${code}`;
  if (code === undefined) return /connack timeout/.test(message) ? (networkProblems.ETIMEDOUT as string) : message;
  const words = certificateProblems[code] ?? networkProblems[code];
  return words === undefined ? `${message} (${code})` : `${words} (${code})`;
}

export const endProblem = (reasonCode: number): string =>
  endings[reasonCode] ?? `the broker ended the connection with code ${reasonCode}`;
