import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { firstSignInRequest, type JoinedView, joinRequest, resetRequest, signInRequest } from "../contract/api.ts";
import { deviceText } from "../domain/deviceText.ts";
import { resetPassphrase } from "../flows/accounts.ts";
import { joinWith, type SignInResult, sessionOf, signIn, signOut, useFirstSignIn } from "../flows/signIn.ts";
import type { Ports, SessionRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import type { Overload } from "./overload.ts";
import { sendProblem, sendWrongField } from "./problems.ts";
import { recordPerson } from "./securityLog.ts";
import { limitSignIns } from "./signInLimits.ts";
import { refuseUnknownFields } from "./strict.ts";

const cookieName = "pieward_session";
const cookieDays = 180;

/** Keeps this browser signed in. */
export const remember = (request: FastifyRequest, reply: FastifyReply, token: string) => {
  // `lax`: after a tap on a notification the keeper must be signed in. A request that changes something also needs a header.
  reply.setCookie(cookieName, token, {
    path: "/",
    httpOnly: true,
    sameSite: "lax",
    secure: request.protocol === "https",
    signed: true,
    maxAge: cookieDays * 86_400,
  });
};

/** Signing in and out. Few tries a minute: a passphrase can be guessed, the token of a link can't. */
export function sessionRoutes(app: FastifyInstance, ports: Ports, overload: Overload): void {
  refuseUnknownFields(app);
  limitSignIns(app, ports, overload);
  signInRoutes(app, ports);
  currentSessionRoutes(app, ports);
}

const fewTries = { rateLimit: { max: 10, timeWindow: "1 minute" } };

function signInRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  const welcome = (request: FastifyRequest, reply: FastifyReply, outcome: SignInResult) => {
    if (outcome.kind === "refused") return sendProblem(reply, { status: 401, detail: outcome.reason });
    if (outcome.kind === "wrong") return sendWrongField(reply, outcome);
    remember(request, reply, outcome.token);
    return { keeper: outcome.keeper };
  };

  routes.post(
    "/api/v1/first-sign-in",
    { config: fewTries, schema: { hide: true, body: firstSignInRequest } },
    async (request, reply) => {
      const { zone = "UTC", ...input } = request.body;
      return welcome(request, reply, await useFirstSignIn(ports, { ...input, zone }, deviceOf(request)));
    },
  );

  routes.post(
    "/api/v1/session",
    { config: fewTries, schema: { hide: true, body: signInRequest } },
    async (request, reply) => welcome(request, reply, await signIn(ports, request.body, deviceOf(request))),
  );

  routes.post(
    "/api/v1/reset",
    { config: fewTries, schema: { hide: true, body: resetRequest } },
    async (request, reply) => welcome(request, reply, await resetPassphrase(ports, request.body, deviceOf(request))),
  );

  routes.post(
    "/api/v1/join",
    { config: fewTries, schema: { hide: true, body: joinRequest } },
    async (request, reply): Promise<JoinedView | FastifyReply> => {
      // Another site's page could send this browser's cookie along, but not our header.
      const session = request.headers["x-pieward"] === "1" ? await findSession(ports, request) : null;
      const outcome = await joinWith(ports, request.body, session, deviceOf(request));
      if (outcome.kind === "refused") return sendProblem(reply, { status: 404, detail: outcome.reason });
      if (outcome.kind === "wrong") return sendWrongField(reply, outcome);
      if (outcome.token !== null) remember(request, reply, outcome.token);
      return { keeper: outcome.keeper, yard: outcome.yard };
    },
  );
}

function currentSessionRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get("/api/v1/session", { schema: { hide: true } }, async (request, reply) => {
    const session = await findSession(ports, request);
    return session ? { keeper: { name: session.keeper.name } } : sendProblem(reply, notSignedIn);
  });

  routes.delete("/api/v1/session", { schema: { hide: true } }, async (request, reply) => {
    const token = sessionToken(request);
    const session = await findSession(ports, request);
    if (session) recordPerson(request, session.keeper.id);
    if (token) await signOut(ports, token);
    return forgetCookie(reply).status(204).send();
  });
}

/** The kind of browser that signs in, as text, for its person to recognise it by. */
export const deviceOf = (request: FastifyRequest): string => deviceText(request.headers["user-agent"]);

export const forgetCookie = (reply: FastifyReply): FastifyReply => reply.clearCookie(cookieName, { path: "/" });

const notSignedIn = { status: 401, detail: texts.refusals.signInFirst };

/** Of who a person is, where there is no session; null: none was given. What is refused has been answered. */
export type OtherProof = (
  request: FastifyRequest,
  reply: FastifyReply,
) => Promise<
  | { readonly kind: "proved"; readonly person: SessionRow["keeper"] }
  | { readonly kind: "refused"; readonly reply: FastifyReply }
  | null
>;

/**
 * Refuses requests of this route plugin without a session, and those of another site's page that would use this browser's cookie:
 * it can't send our header without a CORS preflight, and we never allow that.
 * @param other accepted by the routes of this plugin in place of a session; null: nothing else is
 */
export function requireSignIn(app: FastifyInstance, ports: Ports, other: OtherProof | null = null): void {
  refuseUnknownFields(app);
  app.addHook("onRoute", (route) => {
    const security = [{ session: [] }, ...(other === null ? [] : [{ exportKey: [] }])];
    route.schema = { ...route.schema, security }; // for the documentation
  });
  app.addHook("preValidation", async (request, reply) => {
    if (request.method !== "GET" && request.method !== "HEAD" && request.headers["x-pieward"] !== "1") {
      return sendProblem(reply, {
        status: 403,
        detail: texts.refusals.headerNeeded,
        errors: [{ field: "x-pieward", problem: texts.refusals.isMissing }],
      });
    }
    const session = await findSession(ports, request);
    if (session) {
      sessions.set(request, session);
      return;
    }
    const proof = (await other?.(request, reply)) ?? null;
    if (proof === null) return sendProblem(reply, notSignedIn);
    if (proof.kind === "refused") return proof.reply;
    proved.set(request, proof.person);
  });
}

/** For a route that must know it before it reads the body. @returns the refusal; null where somebody is signed in */
export async function refuseSignedOut(
  ports: Ports,
  request: FastifyRequest,
  reply: FastifyReply,
): Promise<FastifyReply | null> {
  return (await findSession(ports, request)) ? null : sendProblem(reply.header("connection", "close"), notSignedIn);
}

const sessions = new WeakMap<FastifyRequest, SessionRow>();
const proved = new WeakMap<FastifyRequest, SessionRow["keeper"]>();

/** The id of the person who is signed in; null on a route that `requireSignIn` doesn't guard. */
export const signedInPersonId = (request: FastifyRequest): string | null =>
  (sessions.get(request)?.keeper ?? proved.get(request))?.id ?? null;

/** The person who is signed in. @throws Error behind a route that `requireSignIn` doesn't guard: a bug of ours. */
export function signedInPerson(request: FastifyRequest): SessionRow["keeper"] {
  return proved.get(request) ?? requiredSession(request).keeper;
}

/** The token hash of the request's session. @throws Error as `signedInPerson` */
export function sessionHash(request: FastifyRequest): string {
  return requiredSession(request).tokenHash;
}

/** @throws Error as `signedInPerson` */
export function requiredSession(request: FastifyRequest): SessionRow {
  const session = sessions.get(request);
  if (!session) throw new Error(`expected a guarded route, got ${request.url}`);
  return session;
}

function sessionToken(request: FastifyRequest): string | null {
  const cookie = request.cookies[cookieName];
  if (!cookie) return null;
  const { valid, value } = request.unsignCookie(cookie);
  return valid ? value : null;
}

async function findSession(ports: Ports, request: FastifyRequest): Promise<SessionRow | null> {
  const token = sessionToken(request);
  return token ? sessionOf(ports, token) : null;
}
