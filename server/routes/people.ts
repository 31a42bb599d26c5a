import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { inviteRequest, meRequest, personRequest, type TestMailView } from "../contract/api.ts";
import {
  changeMail,
  changePerson,
  invite,
  meView,
  type PersonChange,
  peopleView,
  removePerson,
  testMail,
  withdrawInvite,
} from "../flows/people.ts";
import type { MailOutcome, MemberChanges, Ports } from "../ports.ts";
import { sendProblem } from "./problems.ts";
import { askingOf } from "./rights.ts";
import { keeperOf } from "./sessions.ts";

/** The people of a yard, and what each says of themselves. */
export function peopleRoutes(app: FastifyInstance, ports: Ports): void {
  const door = app.withTypeProvider<ZodTypeProvider>();
  const yard = z.object({ yard: z.string() });
  const person = z.object({ yard: z.string(), person: z.string() });

  door.get("/api/v1/yards/:yard/people", { schema: { hide: true, params: yard } }, (request) =>
    peopleView(ports, request.params.yard, askingOf(request)),
  );

  door.patch(
    "/api/v1/yards/:yard/people/:person",
    { schema: { hide: true, params: person, body: personRequest } },
    async (request, reply) => {
      const { yard, person } = request.params;
      const said = Object.entries(request.body).filter(([, value]) => value !== undefined);
      const changes: MemberChanges = Object.fromEntries(said);
      const change = await changePerson(ports, yard, person, changes, askingOf(request));
      return change.kind === "changed"
        ? peopleView(ports, yard, await askingNow(yard, request))
        : refuse(reply, change);
    },
  );
  /** A keeper who has just made themselves a helper sees what a helper sees. */
  const askingNow = async (yard: string, request: Parameters<typeof askingOf>[0]) => {
    const { person, role } = askingOf(request);
    return { person, role: (await ports.store.people.roleAt(person, { yard })) ?? role };
  };

  door.delete(
    "/api/v1/yards/:yard/people/:person",
    { schema: { hide: true, params: person } },
    async (request, reply) => {
      const { yard, person } = request.params;
      const change = await removePerson(ports, yard, person, askingOf(request));
      return change.kind === "changed" ? reply.status(204).send() : refuse(reply, change);
    },
  );

  door.post(
    "/api/v1/yards/:yard/invites",
    { schema: { hide: true, params: yard, body: inviteRequest } },
    async (request, reply) => reply.status(201).send(await invite(ports, request.params.yard, request.body.role)),
  );

  const openInvite = z.object({ yard: z.string(), invite: z.string() });
  door.delete(
    "/api/v1/yards/:yard/invites/:invite",
    { schema: { hide: true, params: openInvite } },
    async (request, reply) => {
      const { yard, invite } = request.params;
      if (!(await withdrawInvite(ports, yard, invite))) return sendProblem(reply, noInvite);
      return peopleView(ports, yard, askingOf(request));
    },
  );

  door.get("/api/v1/me", { schema: { hide: true } }, (request) => meView(ports, keeperOf(request)));

  door.patch("/api/v1/me", { schema: { hide: true, body: meRequest } }, async (request) => {
    const me = keeperOf(request);
    if (request.body.mail !== undefined) await changeMail(ports, me.id, request.body.mail);
    return meView(ports, me);
  });

  // Each test speaks to an outside service, and a letter can't be called back.
  const fewTests = { rateLimit: { max: 3, timeWindow: "1 minute" } };
  door.post("/api/v1/me/mail/test", { config: fewTests, schema: { hide: true } }, async (request, reply) => {
    const outcome = await testMail(ports, keeperOf(request).id);
    return outcome ? mailOutcomeView(outcome) : sendProblem(reply, noAddress);
  });
}

const noInvite = { status: 404, detail: "This link was used meanwhile, withdrawn, or its time is over." };

const noAddress = { status: 409, detail: "You have no mail address here: write one down first." };

function refuse(reply: FastifyReply, change: Exclude<PersonChange, { kind: "changed" }>): FastifyReply {
  switch (change.kind) {
    case "noSuchPerson":
      return sendProblem(reply, { status: 404, detail: "There is no such person at this yard." });
    case "notAllowed":
      return sendProblem(reply, { status: 403, detail: change.why });
    case "lastKeeper":
      return sendProblem(reply, { status: 409, detail: change.why });
  }
}

function mailOutcomeView(outcome: MailOutcome): TestMailView {
  switch (outcome.kind) {
    case "accepted":
      return { outcome: "accepted", words: "The mail server took the letter; look into your mailbox." };
    case "tryLater":
      return { outcome: "tryLater", words: `The mail server could not take it now: ${outcome.words}` };
    case "refused":
      return { outcome: "refused", words: `The mail server refused it: ${outcome.words}` };
  }
}
