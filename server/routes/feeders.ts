import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import {
  acknowledgeRequest,
  actionIdRequest,
  addFeederRequest,
  changeFeederRequest,
  cleanedRequest,
  orderRequest,
  outOfServiceRequest,
  refillRequest,
  shelveRequest,
} from "../contract/api.ts";
import { shelvedMax } from "../domain/alarms/alarmTransitions.ts";
import type { ReportedRefill } from "../domain/facts.ts";
import { type FaultKind, faultKinds } from "../domain/faults.ts";
import { after, days, instantOf } from "../domain/instant.ts";
import { grams } from "../domain/units.ts";
import { dayView } from "../flows/days.ts";
import type { FeederKeys } from "../flows/feederKeys.ts";
import { addFeeder, changeFeeder, changeKey, removeFeeder } from "../flows/feeders.ts";
import { applyKeeperAction, onceById, reportRefill, requestOrder } from "../flows/keeperActions.ts";
import type { KeeperFact } from "../flows/pure/logEntry.ts";
import { feederView } from "../flows/views.ts";
import type { FeederRow, Ports } from "../ports.ts";
import { orderEnd } from "./orderEnd.ts";
import { sendProblem } from "./problems.ts";
import { signedInPerson } from "./sessions.ts";

/** One feeder: what it is like, what the keeper says about it, and what the keeper tells it to do. */
export function feederRoutes(app: FastifyInstance, ports: Ports, keys: FeederKeys): void {
  const door = app.withTypeProvider<ZodTypeProvider>();
  const params = z.object({ feeder: z.string() });
  const keeperTag = (summary: string) => ({ tags: ["keeper"], summary });

  const noFeeder = (reply: FastifyReply) => sendProblem(reply, { status: 404, detail: "There is no such feeder." });
  const shown = (reply: FastifyReply, row: FeederRow | null) =>
    row ? feederView(row, ports.clock.now()) : noFeeder(reply);

  door.post(
    "/api/v1/feeders",
    {
      schema: {
        ...keeperTag("Add a feeder; its key is shown this once"),
        body: addFeederRequest.meta({ example: examples.feeder }),
      },
    },
    async (request, reply) => {
      const added = await addFeeder(ports, request.body.yard, request.body, signedInPerson(request).name);
      if (!added) return sendFieldProblem(reply, "yard", "is no yard of this house");
      const { feeder, key } = added;
      return reply.status(201).send({ feeder: feederView(feeder, ports.clock.now()), key });
    },
  );

  door.get(
    "/api/v1/feeders/:feeder",
    { schema: { ...keeperTag("One feeder as it is now"), params } },
    async (request, reply) => shown(reply, await ports.store.yards.feeder(request.params.feeder)),
  );

  door.patch(
    "/api/v1/feeders/:feeder",
    { schema: { hide: true, params, body: changeFeederRequest } },
    async (request, reply) =>
      shown(reply, await changeFeeder(ports, request.params.feeder, request.body, signedInPerson(request).name)),
  );

  door.delete("/api/v1/feeders/:feeder", { schema: { hide: true, params } }, async (request, reply) => {
    const row = await ports.store.yards.feeder(request.params.feeder);
    if (!row) return noFeeder(reply);
    await removeFeeder(ports, keys, row);
    return reply.status(204).send();
  });

  door.post("/api/v1/feeders/:feeder/key", { schema: { hide: true, params } }, async (request, reply) => {
    const key = await changeKey(ports, keys, request.params.feeder);
    return key ? { key } : noFeeder(reply);
  });

  door.get(
    "/api/v1/feeders/:feeder/day",
    { schema: { hide: true, params, querystring: z.strictObject({ date: z.iso.date().optional() }) } },
    async (request, reply) => {
      const row = await ports.store.yards.feeder(request.params.feeder);
      if (!row) return noFeeder(reply);
      return dayView(ports.store.records, row, request.query.date ?? null, ports.clock.now());
    },
  );

  door.post(
    "/api/v1/feeders/:feeder/refills",
    { schema: { ...keeperTag("Tell of a refill"), params, body: refillRequest.meta({ example: examples.refill }) } },
    async (request, reply) => {
      const now = ports.clock.now();
      const at = request.body.at ? instantOf(request.body.at) : now;
      if (at > now) return sendFieldProblem(reply, "at", "lies in the future");
      if (at < after(now, days(-refillDaysBack)))
        return sendFieldProblem(reply, "at", `lies more than ${refillDaysBack} days back`);
      const refill: ReportedRefill = { at, what: refillWithUnits(request.body.what) };
      const { feeder } = request.params;
      return shown(reply, await reportRefill(ports, feeder, request.body.id, refill, signedInPerson(request).name));
    },
  );

  door.post(
    "/api/v1/feeders/:feeder/cleaned",
    { schema: { hide: true, params, body: cleanedRequest } },
    async (request, reply) => {
      const now = ports.clock.now();
      const said = request.body?.at ? instantOf(request.body.at) : null;
      if (said !== null && said > now) return sendFieldProblem(reply, "at", "lies in the future");
      if (said !== null && said < after(now, days(-refillDaysBack)))
        return sendFieldProblem(reply, "at", `lies more than ${refillDaysBack} days back`);
      const by = signedInPerson(request).name;
      return shown(
        reply,
        await applyKeeperAction(ports, request.params.feeder, by, (_, at) => ({ kind: "cleaned", at: said ?? at, by })),
      );
    },
  );

  door.post(
    "/api/v1/feeders/:feeder/orders",
    {
      schema: {
        ...keeperTag("Pause or resume; the same id again is the same order"),
        params,
        body: orderRequest.meta({ example: examples.order }),
      },
    },
    async (request, reply) => {
      const end = orderEnd(request.body, ports.clock.now());
      if (end.kind === "invalid") return end.sendTo(reply);
      const { id, kind } = request.body;
      const asked = { id, kind, until: end.until, by: signedInPerson(request).name };
      return shown(reply, await requestOrder(ports, request.params.feeder, asked));
    },
  );

  const answered = async (
    reply: FastifyReply,
    feeder: string,
    fact: KeeperFact & { readonly by: string },
    said: { readonly id?: string | undefined } | null | undefined,
  ) => shown(reply, await applyKeeperAction(ports, feeder, fact.by, () => fact, onceById(feeder, said?.id)));
  const alarm = z.object({ feeder: z.string(), fault: z.enum(faultKinds as [FaultKind, ...FaultKind[]]) });

  door.post(
    "/api/v1/feeders/:feeder/alarms/:fault/acknowledge",
    { schema: { hide: true, params: alarm, body: acknowledgeRequest } },
    async (request, reply) => {
      const { feeder, fault } = request.params;
      const by = signedInPerson(request).name;
      const said = request.body?.raisedAt;
      const raisedAt = said ? instantOf(said) : null;
      const { notifiedPriority } = request.body ?? {};
      const priority = notifiedPriority === undefined ? {} : { notifiedPriority };
      return answered(reply, feeder, { kind: "alarmAcknowledged", fault, by, raisedAt, ...priority }, request.body);
    },
  );

  door.post(
    "/api/v1/feeders/:feeder/alarms/:fault/reset",
    { schema: { hide: true, params: alarm, body: actionIdRequest } },
    async (request, reply) => {
      const { feeder, fault } = request.params;
      const by = signedInPerson(request).name;
      return answered(reply, feeder, { kind: "alarmReset", fault, by }, request.body);
    },
  );

  door.post(
    "/api/v1/feeders/:feeder/alarms/:fault/out-of-service",
    { schema: { hide: true, params: alarm, body: outOfServiceRequest } },
    async (request, reply) => {
      const { feeder, fault } = request.params;
      const [by, { reason }] = [signedInPerson(request).name, request.body];
      return answered(reply, feeder, { kind: "alarmTakenOutOfService", fault, reason, by }, request.body);
    },
  );

  door.post(
    "/api/v1/feeders/:feeder/alarms/:fault/return-to-service",
    { schema: { hide: true, params: alarm, body: actionIdRequest } },
    async (request, reply) => {
      const { feeder, fault } = request.params;
      const by = signedInPerson(request).name;
      return answered(reply, feeder, { kind: "alarmReturnedToService", fault, by }, request.body);
    },
  );

  door.post(
    "/api/v1/feeders/:feeder/alarms/:fault/shelve",
    { schema: { hide: true, params: alarm, body: shelveRequest } },
    async (request, reply) => {
      const { feeder, fault } = request.params;
      const [now, until] = [ports.clock.now(), instantOf(request.body.until)];
      if (until <= now) return sendFieldProblem(reply, "until", "lies in the past");
      if (until > after(now, shelvedMax)) return sendFieldProblem(reply, "until", "is more than 7 days away");
      const by = signedInPerson(request).name;
      return answered(reply, feeder, { kind: "alarmShelved", fault, until, by }, request.body);
    },
  );
}

/** As the documentation shows them, good for pasting (with a yard of your own): the tests post these very ones. */
const examples = {
  feeder: { yard: "the yard's id, from /api/v1/home", name: "Rowan", battery: "leadAcid", hopperCapacityGrams: 800 },
  refill: { id: "refill-7f3a91c2", what: { kind: "added", grams: 400 } },
  order: { id: "order-7f3a91c2", kind: "pause", until: null },
} as const;

const refillDaysBack = 30;

type RefillInput = z.infer<typeof refillRequest>["what"];

function refillWithUnits(what: RefillInput): ReportedRefill["what"] {
  return what.kind === "filled" ? what : { kind: what.kind, grams: grams(what.grams) };
}

const sendFieldProblem = (reply: FastifyReply, field: string, problem: string) =>
  sendProblem(reply, { status: 400, detail: `${field}: ${problem}`, errors: [{ field, problem }] });
