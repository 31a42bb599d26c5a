import type { FastifyBaseLogger, FastifyInstance, FastifyRequest } from "fastify";
import type { Clock } from "../ports.ts";
import { senderAddress } from "./feederLimits.ts";
import { onResponseEnd } from "./overload.ts";
import { createRateLimit } from "./rateLimit.ts";

/** One line for each event about an access: who tried, opened, changed or ended it. Never the proof that was sent. */
export interface SecurityEvent {
  readonly event: string;
  readonly [about: string]: string | null;
}

/** A flood of wrong keys must not fill a small board's card. */
const linesPerMinute = 60;

/** What a request that succeeded means, by its route. A new route that opens or ends an access belongs here. */
export const accessEvents: Readonly<Record<string, string>> = {
  "POST /api/v1/first-sign-in": "firstSignIn",
  "POST /api/v1/session": "signedIn",
  "POST /api/v1/session/passkey": "signedIn",
  "DELETE /api/v1/session": "sessionEnded",
  "POST /api/v1/reset": "passphraseReset",
  "POST /api/v1/me/passphrase": "passphraseChanged",
  "POST /api/v1/me/passkeys": "passkeyAdded",
  "DELETE /api/v1/me/passkeys/:passkey": "passkeyRemoved",
  "POST /api/v1/me/export-keys": "exportKeyMade",
  "DELETE /api/v1/me/export-keys/:exportKey": "exportKeyRemoved",
  "POST /api/v1/me/confirm": "confirmed",
  "DELETE /api/v1/me/sessions": "sessionsEnded",
  "DELETE /api/v1/me/sessions/:session": "sessionEnded",
  "POST /api/v1/me/remove": "accountRemoved",
  "POST /api/v1/join": "joined",
  "POST /api/v1/feeders": "feederAdded",
  "POST /api/v1/feeders/:feeder/key": "feederKeyChanged",
  "DELETE /api/v1/feeders/:feeder": "feederRemoved",
  "POST /api/v1/yards": "yardAdded",
  "POST /api/v1/yards/:yard/remove": "yardRemoved",
  "POST /api/v1/yards/:yard/invites": "inviteMade",
  "DELETE /api/v1/yards/:yard/invites/:invite": "inviteWithdrawn",
  "PATCH /api/v1/yards/:yard/people/:person": "memberChanged",
  "DELETE /api/v1/yards/:yard/people/:person": "memberRemoved",
  "POST /api/v1/phones": "phoneAdded",
  "POST /api/v1/phones/forget": "phoneRemoved",
};

/** These routes ask for a proof by themselves: what they refuse is a failed try. */
const provingRoutes: ReadonlySet<string> = new Set([
  "POST /api/v1/first-sign-in",
  "POST /api/v1/session",
  "POST /api/v1/session/passkey",
  "POST /api/v1/reset",
  "POST /api/v1/join",
  "POST /api/v1/me/passphrase",
  "POST /api/v1/me/export-keys",
  "POST /api/v1/me/remove",
  "POST /api/v1/me/confirm",
]);

/** @param personOf who is signed in, by their id, or null */
export function logSecurity(
  app: FastifyInstance,
  clock: Clock,
  personOf: (request: FastifyRequest) => string | null,
): void {
  const log = rateLimitedLog(app.log, clock);
  app.addHook("onRequest", async (request, reply) => {
    notes.set(request, log);
    senderAddress(request); // while its socket is open
    onResponseEnd(reply, () => {
      const event = securityEventName(request, reply.statusCode);
      if (event !== null)
        log({
          event,
          ...securityDetails(request, reply.statusCode),
          person: persons.get(request) ?? personOf(request),
        });
    });
  });
}

const notes = new WeakMap<FastifyRequest, (event: SecurityEvent) => void>();

const persons = new WeakMap<FastifyRequest, string>();

/** Records whose access this request is about, where there is no session. */
export const recordPerson = (request: FastifyRequest, person: string): void => void persons.set(request, person);

/** For an event that only the code that detects it knows. */
export const logSecurityEvent = (request: FastifyRequest, event: SecurityEvent): void => notes.get(request)?.(event);

const routeOf = ({ method, routeOptions: { url } }: FastifyRequest): string => `${method} ${url ?? "unknown"}`;

function securityEventName(request: FastifyRequest, status: number): string | null {
  const route = routeOf(request);
  if (status < 300) return accessEvents[route] ?? null;
  if (provingRoutes.has(route)) return status >= 400 && status < 405 ? "signInRefused" : null;
  if (route === "POST /api/v1/report" || route === "GET /api/v1/link") return null; // logged where the key is checked
  if (status === 403) return "refused";
  // A browser without a cookie only checks whether it is signed in.
  return status === 401 && request.headers.cookie !== undefined ? "sessionRefused" : null;
}

/** The pattern of the route, not its address: text from an unknown sender doesn't belong in the log. */
function securityDetails(request: FastifyRequest, status: number): Record<string, string> {
  const { feeder, yard } = (request.params ?? {}) as { readonly feeder?: string; readonly yard?: string };
  const known = status < 300 ? { ...(feeder ? { feeder } : {}), ...(yard ? { yard } : {}) } : {};
  return { route: routeOf(request), address: senderAddress(request), ...known };
}

/** A person requests a yard or a feeder that is not theirs. They are answered as if there were none. */
export const logForeignAccess = (request: FastifyRequest, person: string): void =>
  logSecurityEvent(request, { event: "foreignAccess", ...securityDetails(request, 404), person });

export function rateLimitedLog(log: FastifyBaseLogger, clock: Clock): (event: SecurityEvent) => void {
  const lines = createRateLimit(linesPerMinute, clock);
  let leftOut = 0;
  return (event) => {
    if (lines.countOne("") !== null) {
      leftOut += 1;
      return;
    }
    if (leftOut > 0) log.warn({ event: "eventsLeftOut", count: leftOut }, "security: more than is logged");
    leftOut = 0;
    log.warn({ ...event }, "security");
  };
}

/**
 * What a log line must never carry, even if an error contains it: feeder keys, signatures, tokens of sessions and invites
 * (256 random bits in base64url), and the paths of web addresses, which for a push service are the right to write to a phone.
 */
export const maskSecrets = (line: string): string =>
  line
    .replace(/\bpw_[\w-]+/g, "pw_***")
    .replace(/\bmac=\\*"?[\w-]+/g, "mac=***")
    .replace(/(?<![\w-])[\w-]{43}(?![\w-])/g, "***")
    .replace(/\b(https?:\/\/[^\s"'\\/?#]+)[/?#][^\s"'\\]*/g, "$1/***");
