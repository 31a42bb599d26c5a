import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { deleteAccountRequest, passphraseRequest } from "../contract/api.ts";
import { changePassphrase, endSessions, removeAccount, sessionsView } from "../flows/accounts.ts";
import type { FeederKeys } from "../flows/feederKeys.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem, sendWrongField } from "./problems.ts";
import { forgetCookie, requiredSession, signedInPerson } from "./sessions.ts";

/** What a person does with their own account. */
export function accountRoutes(app: FastifyInstance, ports: Ports, keys: FeederKeys): void {
  passphraseRoutes(app, ports, keys);
  sessionRoutes(app, ports);
}

/** Whoever finds an open browser could guess the passphrase there. */
const fewTries = { rateLimit: { max: 10, timeWindow: "1 minute" } };

/** What needs the passphrase, also from somebody who is signed in. */
function passphraseRoutes(app: FastifyInstance, ports: Ports, keys: FeederKeys): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post(
    "/api/v1/me/passphrase",
    { config: fewTries, schema: { hide: true, body: passphraseRequest } },
    async (request, reply) => {
      const change = await changePassphrase(ports, requiredSession(request), request.body);
      return change.kind === "changed" ? reply.status(204).send() : sendWrongField(reply, change);
    },
  );

  routes.post(
    "/api/v1/me/remove",
    { config: fewTries, schema: { hide: true, body: deleteAccountRequest } },
    async (request, reply): Promise<FastifyReply> => {
      const { passphrase, withYards = false } = request.body;
      const removal = await removeAccount(ports, keys, signedInPerson(request).id, { passphrase, withYards });
      switch (removal.kind) {
        case "removed":
          return forgetCookie(reply).status(204).send();
        case "lastKeeper":
          return sendProblem(reply, { status: 409, detail: removal.why });
        case "wrong":
          return sendWrongField(reply, removal);
      }
    },
  );
}

function sessionRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get("/api/v1/me/sessions", { schema: { hide: true } }, (request) =>
    sessionsView(ports, requiredSession(request)),
  );

  routes.delete("/api/v1/me/sessions", { schema: { hide: true } }, async (request) => {
    const session = requiredSession(request);
    await endSessions(ports, session, null);
    return sessionsView(ports, session);
  });

  const params = z.object({ session: z.string() });
  routes.delete("/api/v1/me/sessions/:session", { schema: { hide: true, params } }, async (request, reply) => {
    const session = requiredSession(request);
    if (!(await endSessions(ports, session, request.params.session))) return sendProblem(reply, noSession);
    return sessionsView(ports, session);
  });
}

const noSession = { status: 404, detail: texts.refusals.noSession };
