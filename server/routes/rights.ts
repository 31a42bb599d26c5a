import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { Requester } from "../flows/people.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";
import { logForeignAccess } from "./securityLog.ts";
import { signedInPerson } from "./sessions.ts";

/**
 * Who may do what at a yard. All its people may read. What a helper may change is listed here, and everything else is for its
 * keepers, also a new route.
 */
const helperRoutes: ReadonlySet<string> = new Set([
  "POST /api/v1/feeders/:feeder/refills",
  "POST /api/v1/feeders/:feeder/cleaned",
  "POST /api/v1/feeders/:feeder/orders",
  "POST /api/v1/yards/:yard/orders",
  "POST /api/v1/feeders/:feeder/alarms/:fault/acknowledge",
  "POST /api/v1/feeders/:feeder/alarms/:fault/reset",
  "POST /api/v1/feeders/:feeder/alarms/:fault/shelve",
  "POST /api/v1/yards/:yard/notes",
  "PATCH /api/v1/yards/:yard/notes/:note",
  "DELETE /api/v1/yards/:yard/notes/:note",
  "POST /api/v1/yards/:yard/notes/:note/photos",
  "DELETE /api/v1/yards/:yard/pictures/:picture",
  "PATCH /api/v1/yards/:yard/stills/:still",
  "DELETE /api/v1/yards/:yard/stills/:still",
  // Their own settings, and leaving. The flow refuses changes of other people.
  "PATCH /api/v1/yards/:yard/people/:person",
  "DELETE /api/v1/yards/:yard/people/:person",
]);

/** For a keeper of any yard: these routes are about no existing yard. */
const anyYardKeeperRoutes: ReadonlySet<string> = new Set([
  "POST /api/v1/practice",
  "DELETE /api/v1/practice",
  "POST /api/v1/practice/fault",
  "POST /api/v1/practice/programme",
]);

const newYard = "POST /api/v1/yards";

/** Who may use a route, as the documentation names them. @param body its fields, where it takes a body. */
export function allowedRoles(route: string, body: readonly string[]): string {
  const [method, url = ""] = route.split(" ");
  if (anyYardKeeperRoutes.has(route)) return "a keeper of any yard";
  if (route === newYard) return "a keeper of any yard, or anybody where there is no yard";
  const feederSource = url.includes("/:feeder");
  if (!feederSource && !url.includes("/:yard") && !(method === "POST" && body.includes("yard")))
    return "whoever is signed in";
  const yard = feederSource ? "the feeder's yard" : "the yard";
  if (url.includes("/:person")) return `keepers of ${yard}, and helpers for themselves`;
  return isHelperRoute(method ?? "", route) ? `keepers and helpers of ${yard}` : `keepers of ${yard}`;
}

const isHelperRoute = (method: string, route: string) =>
  method === "GET" || method === "HEAD" || helperRoutes.has(route);

/** Guards every route that is about a yard or a feeder. Comes after `requireSignIn`, which finds the person. */
export function requireYardRole(app: FastifyInstance, ports: Ports): void {
  app.addHook("preValidation", async (request, reply) => {
    const person = signedInPerson(request).id;
    const route = `${request.method} ${request.routeOptions.url}`;
    if (anyYardKeeperRoutes.has(route) || route === newYard) {
      const isAllowed = (await keepsAnyYard(ports, person)) || (route === newYard && (await hasNoYard(ports)));
      return isAllowed ? undefined : refuseHelper(reply);
    }
    const target = requestTarget(request);
    if (target === null) return;
    const role = await ports.store.people.roleAt(person, target);
    if (role === null) {
      logForeignAccess(request, person);
      return refuseForeign(reply, target);
    }
    requesters.set(request, { person, role });
    if (role !== "keeper" && !isHelperRoute(request.method, route)) return refuseHelper(reply);
  });
}

const keepsAnyYard = async ({ store }: Ports, person: string): Promise<boolean> =>
  (await store.people.membershipsOf(person)).some(({ role }) => role === "keeper");

/** On a server where others have their yards, a guest of one may add none. Where there is none at all, anybody may add the first. */
const hasNoYard = async ({ store }: Ports): Promise<boolean> => (await store.yards.yards()).length === 0;

function refuseForeign(reply: FastifyReply, target: RequestTarget): FastifyReply {
  if ("inBody" in target) {
    const errors = [{ field: "yard", problem: texts.refusals.notYourYard }];
    return sendProblem(reply, {
      status: 400,
      detail: texts.refusals.field("yard", texts.refusals.notYourYard),
      errors,
    });
  }
  // The same text whether there is none or it isn't theirs: only its own people may learn that it exists.
  const detail = "yard" in target ? texts.refusals.noYard : texts.refusals.noFeeder;
  return sendProblem(reply, { status: 404, detail });
}

const refuseHelper = (reply: FastifyReply) =>
  sendProblem(reply, {
    status: 403,
    detail: texts.refusals.keepersOnly,
  });

/** The yard or the feeder that a request is about: by its address, or where a feeder is added, by its body. */
function requestTarget({ params, body, method }: FastifyRequest): RequestTarget | null {
  const { yard, feeder } = params as { readonly yard?: string; readonly feeder?: string };
  if (feeder !== undefined) return { feeder };
  if (yard !== undefined) return { yard };
  const request = (body as { readonly yard?: unknown } | null | undefined)?.yard;
  return method === "POST" && typeof request === "string" ? { yard: request, inBody: true } : null;
}
type RequestTarget = { readonly feeder: string } | { readonly yard: string; readonly inBody?: true };

const requesters = new WeakMap<FastifyRequest, Requester>();

/** @throws Error behind a route that is about no yard: a bug of ours. */
export function requesterOf(request: FastifyRequest): Requester {
  const found = requesters.get(request);
  if (!found) throw new Error(`expected a route about a yard, got ${request.url}`);
  return found;
}
