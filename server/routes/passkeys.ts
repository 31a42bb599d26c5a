import { randomUUID } from "node:crypto";
import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import {
  addPasskeyRequest,
  confirmRequest,
  passkeyOptionsRequest,
  passkeySignInRequest,
  passkeysMax,
  renamePasskeyRequest,
} from "../contract/passkeys.ts";
import {
  addPasskey,
  askToAdd,
  askToConfirm,
  askToSignIn,
  confirmByPasskey,
  confirmByPassphrase,
  isConfirmed,
  type Passkeys,
  passkeysView,
  type RefusedPasskey,
  signInByPasskey,
} from "../flows/passkeys.ts";
import { noRelyingParty, relyingParty } from "../flows/relyingParty.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";
import { logSecurityEvent } from "./securityLog.ts";
import { deviceOf, remember, requiredSession, signedInPerson } from "./sessions.ts";
import { refuseUnknownFields } from "./strict.ts";

export interface PasskeyRoutes {
  readonly ports: Ports;
  readonly passkeys: Passkeys;
  readonly publicUrl: string | null;
}

const fewTries = { rateLimit: { max: 10, timeWindow: "1 minute" } };
const cookieName = "pieward_passkey";
const cookiePath = "/api/v1/session/passkey";

/** Signing in with a passkey, for whoever isn't signed in. */
export function passkeySignInRoutes(app: FastifyInstance, { ports, passkeys, publicUrl }: PasskeyRoutes): void {
  refuseUnknownFields(app);
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post(`${cookiePath}/options`, { config: fewTries, schema: { hide: true } }, async (request, reply) => {
    const party = partyOf(request, publicUrl);
    if (party === null) return sendProblem(reply, unusable);
    const browser = randomUUID();
    // Only the browser that requested a challenge may answer it.
    const secure = request.protocol === "https";
    const options = {
      path: cookiePath,
      httpOnly: true,
      sameSite: "strict",
      signed: true,
      maxAge: 300,
      secure,
    } as const;
    reply.setCookie(cookieName, browser, options);
    return askToSignIn(passkeys, party, browser);
  });

  routes.post(
    cookiePath,
    { config: fewTries, schema: { hide: true, body: passkeySignInRequest } },
    async (request, reply) => {
      const party = partyOf(request, publicUrl);
      if (party === null) return sendProblem(reply, unusable);
      const { credential } = request.body;
      const outcome = await signInByPasskey(ports, passkeys, party, credential, {
        browser: browserOf(request),
        device: deviceOf(request),
      });
      if (outcome.kind === "refused") {
        noteRefusal(request, outcome);
        return sendProblem(reply, { status: 401, detail: outcome.text });
      }
      reply.clearCookie(cookieName, { path: cookiePath });
      remember(request, reply, outcome.token);
      return { keeper: outcome.keeper };
    },
  );
}

/** One's own passkeys, for whoever is signed in. */
export function passkeyRoutes(app: FastifyInstance, context: PasskeyRoutes): void {
  const { ports, publicUrl } = context;
  const view: View = (request) => passkeysView(ports, partyOf(request, publicUrl), signedInPerson(request).id);
  addPasskeyRoutes(app, context, view);
  ownPasskeyRoutes(app, context, view);
  confirmRoutes(app, context);
}

type View = (request: FastifyRequest) => ReturnType<typeof passkeysView>;

function addPasskeyRoutes(app: FastifyInstance, { ports, passkeys, publicUrl }: PasskeyRoutes, view: View): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post(
    "/api/v1/me/passkeys/options",
    { config: fewTries, schema: { hide: true, body: passkeyOptionsRequest } },
    async (request, reply) => {
      const party = partyOf(request, publicUrl);
      if (party === null) return sendProblem(reply, unusable);
      const session = requiredSession(request);
      const { passphrase } = request.body;
      if (passphrase !== undefined && !(await confirmByPassphrase(ports, passkeys, session, passphrase))) {
        return refusePassphrase(reply);
      }
      if (!isConfirmed(ports, passkeys, session)) return sendProblem(reply, unconfirmed);
      return (await askToAdd(ports, passkeys, party, session)) ?? sendProblem(reply, tooMany);
    },
  );

  routes.post(
    "/api/v1/me/passkeys",
    { config: fewTries, schema: { hide: true, body: addPasskeyRequest } },
    async (request, reply) => {
      const party = partyOf(request, publicUrl);
      if (party === null) return sendProblem(reply, unusable);
      const outcome = await addPasskey(ports, passkeys, party, requiredSession(request), request.body);
      switch (outcome.kind) {
        case "refused":
          noteRefusal(request, outcome);
          return sendProblem(reply, { status: 400, ...refusedField(outcome) });
        case "known":
          return sendProblem(reply, { status: 409, detail: texts.refusals.passkeyKnown });
        case "tooMany":
          return sendProblem(reply, tooMany);
        case "added":
          return reply.status(201).send(await view(request));
      }
    },
  );
}

function ownPasskeyRoutes(app: FastifyInstance, { ports, passkeys }: PasskeyRoutes, view: View): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();
  const own = z.object({ passkey: z.string() });

  routes.get("/api/v1/me/passkeys", { schema: { hide: true } }, view);

  routes.patch(
    "/api/v1/me/passkeys/:passkey",
    { schema: { hide: true, params: own, body: renamePasskeyRequest } },
    async (request, reply) => {
      const person = signedInPerson(request).id;
      const renamed = await ports.store.keepers.renamePasskey(person, request.params.passkey, request.body.label);
      return renamed ? view(request) : sendProblem(reply, noSuchPasskey);
    },
  );

  routes.delete("/api/v1/me/passkeys/:passkey", { schema: { hide: true, params: own } }, async (request, reply) => {
    const person = signedInPerson(request).id;
    if (!isConfirmed(ports, passkeys, requiredSession(request))) return sendProblem(reply, unconfirmed);
    const removed = await ports.store.keepers.removePasskey(person, request.params.passkey);
    if (!removed) return sendProblem(reply, noSuchPasskey);
    return view(request);
  });
}

function confirmRoutes(app: FastifyInstance, { ports, passkeys, publicUrl }: PasskeyRoutes): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post("/api/v1/me/confirm/options", { config: fewTries, schema: { hide: true } }, async (request, reply) => {
    const party = partyOf(request, publicUrl);
    if (party === null) return sendProblem(reply, unusable);
    const options = await askToConfirm(ports, passkeys, party, requiredSession(request));
    return options ?? sendProblem(reply, { status: 409, detail: texts.refusals.noPasskeyToConfirm });
  });

  routes.post(
    "/api/v1/me/confirm",
    { config: fewTries, schema: { hide: true, body: confirmRequest } },
    async (request, reply) => {
      const session = requiredSession(request);
      const { passphrase, credential } = request.body;
      if (credential === undefined) {
        const right = await confirmByPassphrase(ports, passkeys, session, passphrase ?? "");
        return right ? reply.status(204).send() : refusePassphrase(reply);
      }
      const party = partyOf(request, publicUrl);
      if (party === null) return sendProblem(reply, unusable);
      const outcome = await confirmByPasskey(ports, passkeys, party, session, credential);
      if (outcome.kind === "confirmed") return reply.status(204).send();
      noteRefusal(request, outcome);
      return sendProblem(reply, { status: 403, ...refusedField(outcome) });
    },
  );
}

const unusable = { status: 409, detail: noRelyingParty };
const tooMany = { status: 409, detail: texts.refusals.tooManyPasskeys(passkeysMax) };
const noSuchPasskey = { status: 404, detail: texts.refusals.noPasskey };
const unconfirmed = {
  status: 403,
  detail: texts.refusals.notConfirmed,
  errors: [{ field: "passphrase", problem: texts.refusals.passphraseNeeded }],
};

function refusePassphrase(reply: FastifyReply): FastifyReply {
  const errors = [{ field: "passphrase", problem: texts.refusals.isWrong }];
  return sendProblem(reply, {
    status: 403,
    detail: texts.refusals.field("passphrase", texts.refusals.isWrong),
    errors,
  });
}

const refusedField = ({ text }: RefusedPasskey) => ({
  detail: text,
  errors: [{ field: "credential", problem: text }],
});

/** Logs who, which of our rows, and why, and nothing of what was sent. The request's own log line has the address. */
function noteRefusal(request: FastifyRequest, { why, person, passkey }: RefusedPasskey): void {
  logSecurityEvent(request, { event: "passkeyRefused", why, person, passkey });
}

const partyOf = (request: FastifyRequest, publicUrl: string | null) =>
  relyingParty(publicUrl, `${request.protocol}://${request.host}`);

function browserOf(request: FastifyRequest): string {
  const cookie = request.cookies[cookieName];
  const { valid, value } = cookie ? request.unsignCookie(cookie) : { valid: false, value: null };
  return valid && value !== null ? value : "";
}
