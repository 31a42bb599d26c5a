import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { addFeederRequest, changeFeederRequest, cleanedRequest, orderRequest, refillRequest } from "../contract/api.ts";
import type { ReportedRefill } from "../domain/facts.ts";
import { after, days, type Instant, instantOf } from "../domain/instant.ts";
import { grams } from "../domain/units.ts";
import { dayView } from "../flows/days.ts";
import type { FeederKeys } from "../flows/feederKeys.ts";
import { addFeeder, changeFeeder, changeKey, removeFeeder } from "../flows/feeders.ts";
import { applyKeeperAction, reportRefill, requestOrder } from "../flows/keeperActions.ts";
import { feederView } from "../flows/views.ts";
import type { FeederRow, Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { orderEnd } from "./orderEnd.ts";
import { sendFieldProblem, sendProblem } from "./problems.ts";
import { signedInPerson } from "./sessions.ts";

/** One feeder: its settings and its key, what a keeper reports about it, and what a keeper orders it to do. */
export function feederRoutes(app: FastifyInstance, ports: Ports, keys: FeederKeys): void {
  settingsRoutes(app, ports);
  accessRoutes(app, ports, keys);
  recordRoutes(app, ports);
  cleanedRoute(app, ports);
  orderRoute(app, ports);
}

const params = z.object({ feeder: z.string() });
const keeperTag = (summary: string) => ({ tags: ["keeper"], summary });

const sendNoFeeder = (reply: FastifyReply) => sendProblem(reply, { status: 404, detail: texts.refusals.noFeeder });

/** The feeder as it is after the request, or 404. */
export const sendFeeder = (ports: Ports, reply: FastifyReply, row: FeederRow | null) =>
  row ? feederView(row, ports.clock.now()) : sendNoFeeder(reply);

function settingsRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post(
    "/api/v1/feeders",
    {
      schema: {
        ...keeperTag("Add a feeder; its key is shown this once"),
        body: addFeederRequest.meta({ example: examples.feeder }),
      },
    },
    async (request, reply) => {
      const added = await addFeeder(ports, request.body.yard, request.body, signedInPerson(request).name);
      if (!added) return sendFieldProblem(reply, "yard", texts.refusals.unknownYard);
      const { feeder, key } = added;
      return reply.status(201).send({ feeder: feederView(feeder, ports.clock.now()), key });
    },
  );

  routes.get(
    "/api/v1/feeders/:feeder",
    { schema: { ...keeperTag("One feeder as it is now"), params } },
    async (request, reply) => sendFeeder(ports, reply, await ports.store.yards.feeder(request.params.feeder)),
  );

  routes.patch(
    "/api/v1/feeders/:feeder",
    { schema: { hide: true, params, body: changeFeederRequest } },
    async (request, reply) =>
      sendFeeder(
        ports,
        reply,
        await changeFeeder(ports, request.params.feeder, request.body, signedInPerson(request).name),
      ),
  );
}

function accessRoutes(app: FastifyInstance, ports: Ports, keys: FeederKeys): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.delete("/api/v1/feeders/:feeder", { schema: { hide: true, params } }, async (request, reply) => {
    const row = await ports.store.yards.feeder(request.params.feeder);
    if (!row) return sendNoFeeder(reply);
    await removeFeeder(ports, keys, row);
    return reply.status(204).send();
  });

  routes.post("/api/v1/feeders/:feeder/key", { schema: { hide: true, params } }, async (request, reply) => {
    const key = await changeKey(ports, keys, request.params.feeder);
    return key ? { key } : sendNoFeeder(reply);
  });
}

function recordRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get(
    "/api/v1/feeders/:feeder/day",
    { schema: { hide: true, params, querystring: z.strictObject({ date: z.iso.date().optional() }) } },
    async (request, reply) => {
      const row = await ports.store.yards.feeder(request.params.feeder);
      if (!row) return sendNoFeeder(reply);
      return dayView(ports.store.records, row, request.query.date ?? null, ports.clock.now());
    },
  );

  routes.post(
    "/api/v1/feeders/:feeder/refills",
    { schema: { ...keeperTag("Report a refill"), params, body: refillRequest.meta({ example: examples.refill }) } },
    async (request, reply) => {
      const now = ports.clock.now();
      const at = request.body.at ? instantOf(request.body.at) : now;
      const problem = pastProblem(at, now);
      if (problem !== null) return sendFieldProblem(reply, "at", problem);
      const refill: ReportedRefill = { at, what: refillWithUnits(request.body.what) };
      const { feeder } = request.params;
      return sendFeeder(
        ports,
        reply,
        await reportRefill(ports, feeder, request.body.id, refill, signedInPerson(request).name),
      );
    },
  );
}

function cleanedRoute(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post(
    "/api/v1/feeders/:feeder/cleaned",
    { schema: { hide: true, params, body: cleanedRequest } },
    async (request, reply) => {
      const now = ports.clock.now();
      const stated = request.body?.at ? instantOf(request.body.at) : null;
      const problem = stated === null ? null : pastProblem(stated, now);
      if (problem !== null) return sendFieldProblem(reply, "at", problem);
      const by = signedInPerson(request).name;
      return sendFeeder(
        ports,
        reply,
        await applyKeeperAction(ports, request.params.feeder, by, (_, at) => ({
          kind: "cleaned",
          at: stated ?? at,
          by,
        })),
      );
    },
  );
}

function orderRoute(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post(
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
      const order = { id, kind, until: end.until, by: signedInPerson(request).name };
      return sendFeeder(ports, reply, await requestOrder(ports, request.params.feeder, order));
    },
  );
}

/** As the documentation shows them, good for pasting (with a yard of your own): the tests post these very ones. */
const examples = {
  feeder: { yard: "the yard's id, from /api/v1/home", name: "Rowan", battery: "leadAcid", hopperCapacityGrams: 800 },
  refill: { id: "refill-7f3a91c2", what: { kind: "added", grams: 400 } },
  order: { id: "order-7f3a91c2", kind: "pause", until: null },
} as const;

const daysBackMax = 30;

/** What is wrong with a moment that a keeper states for something done; null where nothing is. */
function pastProblem(at: Instant, now: Instant): string | null {
  if (at > now) return texts.refusals.inTheFuture;
  return at < after(now, days(-daysBackMax)) ? texts.refusals.tooFarBack(daysBackMax) : null;
}

type RefillInput = z.infer<typeof refillRequest>["what"];

function refillWithUnits(what: RefillInput): ReportedRefill["what"] {
  return what.kind === "filled" ? what : { kind: what.kind, grams: grams(what.grams) };
}
