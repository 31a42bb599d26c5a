import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { acknowledgeRequest, actionIdRequest, outOfServiceRequest, shelveRequest } from "../contract/api.ts";
import { shelvedMax } from "../domain/alarms/alarmTransitions.ts";
import { type FaultKind, faultKinds } from "../domain/faults.ts";
import { after, instantOf } from "../domain/instant.ts";
import { applyKeeperAction, onceById } from "../flows/keeperActions.ts";
import type { KeeperFact } from "../flows/pure/logEntry.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendFeeder } from "./feeders.ts";
import { sendFieldProblem } from "./problems.ts";
import { signedInPerson } from "./sessions.ts";

const params = z.object({ feeder: z.string(), fault: z.enum(faultKinds as [FaultKind, ...FaultKind[]]) });
const alarm = "/api/v1/feeders/:feeder/alarms/:fault";

type Respond = (
  reply: FastifyReply,
  feeder: string,
  fact: KeeperFact & { readonly by: string },
  body: { readonly id?: string | undefined } | null | undefined,
) => Promise<unknown>;

/** What a keeper does about one alarm. The same client id again is the same action. */
export function alarmResponseRoutes(app: FastifyInstance, ports: Ports): void {
  const respond: Respond = async (reply, feeder, fact, body) =>
    sendFeeder(ports, reply, await applyKeeperAction(ports, feeder, fact.by, () => fact, onceById(feeder, body?.id)));
  acknowledgeRoute(app, respond);
  shelveRoute(app, ports, respond);
  serviceRoutes(app, respond);
}

function acknowledgeRoute(app: FastifyInstance, respond: Respond): void {
  app
    .withTypeProvider<ZodTypeProvider>()
    .post(
      `${alarm}/acknowledge`,
      { schema: { hide: true, params, body: acknowledgeRequest } },
      async (request, reply) => {
        const { feeder, fault } = request.params;
        const by = signedInPerson(request).name;
        const { raisedAt: stated, notifiedPriority } = request.body ?? {};
        const raisedAt = stated ? instantOf(stated) : null;
        const priority = notifiedPriority === undefined ? {} : { notifiedPriority };
        return respond(reply, feeder, { kind: "alarmAcknowledged", fault, by, raisedAt, ...priority }, request.body);
      },
    );
}

function shelveRoute(app: FastifyInstance, ports: Ports, respond: Respond): void {
  app
    .withTypeProvider<ZodTypeProvider>()
    .post(`${alarm}/shelve`, { schema: { hide: true, params, body: shelveRequest } }, async (request, reply) => {
      const { feeder, fault } = request.params;
      const [now, until] = [ports.clock.now(), instantOf(request.body.until)];
      if (until <= now) return sendFieldProblem(reply, "until", texts.refusals.inThePast);
      if (until > after(now, shelvedMax)) return sendFieldProblem(reply, "until", texts.refusals.tooFarAway);
      const by = signedInPerson(request).name;
      return respond(reply, feeder, { kind: "alarmShelved", fault, until, by }, request.body);
    });
}

function serviceRoutes(app: FastifyInstance, respond: Respond): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();
  routes.post(
    `${alarm}/out-of-service`,
    { schema: { hide: true, params, body: outOfServiceRequest } },
    async (request, reply) => {
      const { feeder, fault } = request.params;
      const [by, { reason }] = [signedInPerson(request).name, request.body];
      return respond(reply, feeder, { kind: "alarmTakenOutOfService", fault, reason, by }, request.body);
    },
  );
  const withoutDetails = { "return-to-service": "alarmReturnedToService", reset: "alarmReset" } as const;
  for (const [action, kind] of Object.entries(withoutDetails)) {
    routes.post(
      `${alarm}/${action}`,
      { schema: { hide: true, params, body: actionIdRequest } },
      async (request, reply) => {
        const { feeder, fault } = request.params;
        return respond(reply, feeder, { kind, fault, by: signedInPerson(request).name }, request.body);
      },
    );
  }
}
