import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import {
  type AddedYardView,
  addYardRequest,
  deleteYardRequest,
  diseaseNoticeRequest,
  type HomeView,
  orderRequest,
  practiceFaultRequest,
  practiceProgrammeRequest,
  type YardOrderView,
  type YardView,
  yardRequest,
} from "../contract/api.ts";
import { isoOf } from "../domain/instant.ts";
import { setDiseaseNotice } from "../flows/diseaseNotice.ts";
import type { FeederKeys } from "../flows/feederKeys.ts";
import { changeYard } from "../flows/feeders.ts";
import { requestYardOrder } from "../flows/keeperActions.ts";
import { escalationViews, meView } from "../flows/people.ts";
import { removePractice, startPractice } from "../flows/practice.ts";
import type { PracticeProgramme } from "../flows/practiceProgramme.ts";
import { scheduleRepair } from "../flows/repair.ts";
import { feederView, foodViews, storageText, yardView } from "../flows/views.ts";
import { addYard, removeYard } from "../flows/yards.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { orderEnd } from "./orderEnd.ts";
import { sendProblem, sendWrongField } from "./problems.ts";
import { signedInPerson } from "./sessions.ts";

/** The keeper's yards: their present state, their settings, their orders, and the practice yard. */
export function yardRoutes(app: FastifyInstance, ports: Ports, keys: FeederKeys, programme: PracticeProgramme): void {
  const home = (request: FastifyRequest) => homeView(ports, programme, request);
  settingsRoutes(app, ports, home);
  addAndRemoveRoutes(app, ports, keys);
  yardOrderRoute(app, ports);
  diseaseNoticeRoute(app, ports, home);
  practiceRoutes(app, ports, keys, home);
  practiceProgrammeRoute(app, programme, home);
}

type Home = (request: FastifyRequest) => Promise<HomeView>;
const params = z.object({ yard: z.string() });
const sendNoYard = (reply: FastifyReply) => sendProblem(reply, { status: 404, detail: texts.refusals.noYard });

async function homeView(ports: Ports, programme: PracticeProgramme, request: FastifyRequest): Promise<HomeView> {
  const now = ports.clock.now();
  const me = signedInPerson(request);
  const roles = new Map((await ports.store.people.membershipsOf(me.id)).map(({ yard, role }) => [yard, role]));
  const people = await ports.store.people.countMembers();
  const [yards, feeders] = [await ports.store.yards.yards(), await ports.store.yards.feeders()];
  const damaged = await ports.store.yards.damagedFeeders();
  if (damaged.length > 0) scheduleRepair(ports, request.log);
  const views: YardView[] = [];
  for (const yard of yards) {
    const role = roles.get(yard.id);
    if (role === undefined) continue;
    const of = { role, peopleCount: people.get(yard.id) ?? 1, escalations: await escalationViews(ports, yard.id) };
    views.push(yardView(yard, of, feeders, damaged, now));
  }
  return {
    keeper: await meView(ports, me),
    yards: views,
    serverTime: isoOf(now),
    practice: { ...ports.practiceRunner.state(), programme: seenProgramme(programme, roles) },
    foods: foodViews,
    storageProblem: storageText(ports, [...roles.values()].includes("keeper")),
  };
}

function seenProgramme(programme: PracticeProgramme, roles: ReadonlyMap<string, unknown>) {
  const state = programme.state();
  return state !== null && roles.has(state.yard) ? state : null;
}

function settingsRoutes(app: FastifyInstance, ports: Ports, home: Home): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get("/api/v1/home", { schema: { tags: ["keeper"], summary: "All yards and feeders as they are now" } }, home);

  routes.patch("/api/v1/yards/:yard", { schema: { hide: true, params, body: yardRequest } }, async (request, reply) => {
    const input = Object.entries(request.body).filter(([, value]) => value !== undefined);
    const changed = await changeYard(
      ports,
      request.params.yard,
      Object.fromEntries(input),
      signedInPerson(request).name,
    );
    return changed ? home(request) : sendNoYard(reply);
  });
}

function addAndRemoveRoutes(app: FastifyInstance, ports: Ports, keys: FeederKeys): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post("/api/v1/yards", { schema: { hide: true, body: addYardRequest } }, async (request, reply) => {
    const { name, zone, place = null } = request.body;
    const added = await addYard(ports, signedInPerson(request).id, { name, zone, place });
    if (added.kind === "tooMany") return sendProblem(reply, { status: 409, detail: added.why });
    return reply.status(201).send({ yard: { id: added.id, name } } satisfies AddedYardView);
  });

  routes.post(
    "/api/v1/yards/:yard/remove",
    { schema: { hide: true, params, body: deleteYardRequest } },
    async (request, reply) => {
      const removal = await removeYard(ports, keys, request.params.yard, request.body, signedInPerson(request).id);
      switch (removal.kind) {
        case "removed":
          return reply.status(204).send();
        case "noSuchYard":
          return sendNoYard(reply);
        case "practice":
          return sendProblem(reply, { status: 409, detail: removal.why });
        case "wrong":
          return sendWrongField(reply, removal);
      }
    },
  );
}

function yardOrderRoute(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post(
    "/api/v1/yards/:yard/orders",
    {
      schema: {
        tags: ["keeper"],
        summary: "Pause or resume all feeders of a yard; the same id again is the same order",
        description:
          "One action: all feeders get the order, or none. A pause goes to every feeder. A resume skips those on the bench or put away (`skippedFeeders`).",
        params,
        body: orderRequest.meta({ example: { id: "order-2c91f07a", kind: "pause", until: null } }),
      },
    },
    async (request, reply) => {
      const end = orderEnd(request.body, ports.clock.now());
      if (end.kind === "invalid") return end.sendTo(reply);
      const { id, kind } = request.body;
      const requested = { id, kind, until: end.until, by: signedInPerson(request).name };
      const { feeders, skippedFeeders } = await requestYardOrder(ports, request.params.yard, requested);
      const now = ports.clock.now();
      return { feeders: feeders.map((row) => feederView(row, now)), skippedFeeders } satisfies YardOrderView;
    },
  );
}

function diseaseNoticeRoute(app: FastifyInstance, ports: Ports, home: Home): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post(
    "/api/v1/yards/:yard/disease-notice",
    {
      schema: {
        tags: ["keeper"],
        summary: "Put a bird-disease notice in force for a yard, or lift it",
        description:
          "In force, every feeder of the yard is paused until resumed, and a resume is refused. Lifting it resumes nothing.",
        params,
        body: diseaseNoticeRequest.meta({ example: { id: "notice-2c91f07a", inForce: true } }),
      },
    },
    async (request, reply) => {
      const requested = { ...request.body, by: signedInPerson(request).name };
      return (await setDiseaseNotice(ports, request.params.yard, requested)) ? home(request) : sendNoYard(reply);
    },
  );
}

function practiceRoutes(app: FastifyInstance, ports: Ports, keys: FeederKeys, home: Home): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.post("/api/v1/practice", { schema: { hide: true } }, async (request) => {
    await startPractice(ports, keys, signedInPerson(request).id);
    return home(request);
  });

  routes.delete("/api/v1/practice", { schema: { hide: true } }, async (request) => {
    await removePractice(ports, keys);
    return home(request);
  });

  routes.post(
    "/api/v1/practice/fault",
    { schema: { hide: true, body: practiceFaultRequest } },
    async (request, reply) => {
      if (!ports.practiceRunner.state().running) {
        return sendProblem(reply, { status: 409, detail: texts.refusals.noPracticeFeeder });
      }
      ports.practiceRunner.setFault(request.body.fault);
      return home(request);
    },
  );
}

/** A practice yard that lives a whole training programme; nothing of it touches a yard with real feeders. */
function practiceProgrammeRoute(app: FastifyInstance, programme: PracticeProgramme, home: Home): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();
  routes.post(
    "/api/v1/practice/programme",
    { schema: { hide: true, body: practiceProgrammeRequest } },
    async (request) => {
      if (request.body.do === "start") await programme.start(signedInPerson(request).id);
      else await programme[request.body.do]();
      return home(request);
    },
  );
}
