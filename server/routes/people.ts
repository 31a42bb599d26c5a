import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { inviteRequest, meRequest, personRequest, type TestEmailView } from "../contract/api.ts";
import {
  changeEmail,
  changePerson,
  createInvite,
  meView,
  type PersonChangeResult,
  peopleView,
  removePerson,
  testEmail,
  withdrawInvite,
} from "../flows/people.ts";
import type { EmailOutcome, MemberChanges, Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";
import { requesterOf } from "./rights.ts";
import { signedInPerson } from "./sessions.ts";

/** The people of a yard, its invitations, and what each person sets for themselves. */
export function peopleRoutes(app: FastifyInstance, ports: Ports): void {
  memberRoutes(app, ports);
  inviteRoutes(app, ports);
  ownRoutes(app, ports);
}

const yard = z.object({ yard: z.string() });

function memberRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();
  const person = z.object({ yard: z.string(), person: z.string() });

  routes.get("/api/v1/yards/:yard/people", { schema: { hide: true, params: yard } }, (request) =>
    peopleView(ports, request.params.yard, requesterOf(request)),
  );

  routes.patch(
    "/api/v1/yards/:yard/people/:person",
    { schema: { hide: true, params: person, body: personRequest } },
    async (request, reply) => {
      const { yard, person } = request.params;
      const input = Object.entries(request.body).filter(([, value]) => value !== undefined);
      const changes: MemberChanges = Object.fromEntries(input);
      const change = await changePerson(ports, yard, person, changes, requesterOf(request));
      return change.kind === "changed"
        ? peopleView(ports, yard, await askingNow(yard, request))
        : refuseChange(reply, change);
    },
  );
  /** A keeper who has just made themselves a helper sees what a helper sees. */
  const askingNow = async (yard: string, request: Parameters<typeof requesterOf>[0]) => {
    const { person, role } = requesterOf(request);
    return { person, role: (await ports.store.people.roleAt(person, { yard })) ?? role };
  };

  routes.delete(
    "/api/v1/yards/:yard/people/:person",
    { schema: { hide: true, params: person } },
    async (request, reply) => {
      const { yard, person } = request.params;
      const change = await removePerson(ports, yard, person, requesterOf(request));
      return change.kind === "changed" ? reply.status(204).send() : refuseChange(reply, change);
    },
  );
}

function inviteRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post(
    "/api/v1/yards/:yard/invites",
    { schema: { hide: true, params: yard, body: inviteRequest } },
    async (request, reply) => reply.status(201).send(await createInvite(ports, request.params.yard, request.body.role)),
  );

  const openInvite = z.object({ yard: z.string(), invite: z.string() });
  routes.delete(
    "/api/v1/yards/:yard/invites/:invite",
    { schema: { hide: true, params: openInvite } },
    async (request, reply) => {
      const { yard, invite } = request.params;
      if (!(await withdrawInvite(ports, yard, invite))) return sendProblem(reply, noInvite);
      return peopleView(ports, yard, requesterOf(request));
    },
  );
}

function ownRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get("/api/v1/me", { schema: { hide: true } }, (request) => meView(ports, signedInPerson(request)));

  routes.patch("/api/v1/me", { schema: { hide: true, body: meRequest } }, async (request) => {
    const me = signedInPerson(request);
    if (request.body.email !== undefined) await changeEmail(ports, me.id, request.body.email);
    return meView(ports, me);
  });

  // Each test uses an outside service, and an e-mail can't be recalled.
  const fewTests = { rateLimit: { max: 3, timeWindow: "1 minute" } };
  routes.post("/api/v1/me/email/test", { config: fewTests, schema: { hide: true } }, async (request, reply) => {
    const outcome = await testEmail(ports, signedInPerson(request).id);
    return outcome ? emailOutcomeView(outcome) : sendProblem(reply, noEmailProblem);
  });
}

const noInvite = { status: 404, detail: texts.refusals.noInvite };

const noEmailProblem = { status: 409, detail: texts.refusals.noEmail };

function refuseChange(reply: FastifyReply, change: Exclude<PersonChangeResult, { kind: "changed" }>): FastifyReply {
  switch (change.kind) {
    case "noSuchPerson":
      return sendProblem(reply, { status: 404, detail: texts.refusals.noPerson });
    case "notAllowed":
      return sendProblem(reply, { status: 403, detail: change.reason });
    case "lastKeeper":
      return sendProblem(reply, { status: 409, detail: change.reason });
  }
}

function emailOutcomeView(outcome: EmailOutcome): TestEmailView {
  switch (outcome.kind) {
    case "accepted":
      return { outcome: "accepted", text: texts.people.testSent };
    case "tryLater":
      return { outcome: "tryLater", text: texts.delivery.notNow(outcome.text) };
    case "refused":
      return { outcome: "refused", text: texts.delivery.notAccepted(outcome.text) };
  }
}
