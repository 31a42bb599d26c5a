import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { feedingRequest, rationRequest } from "../contract/feedingRequest.ts";
import { planPreview, planView, rationView } from "../flows/plans.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";

const params = z.object({ feeder: z.string() });

/** The feeding plan: as it is in force, and as it would be. It is changed with the other settings of the feeder. */
export function planRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get("/api/v1/feeders/:feeder/plan", { schema: { hide: true, params } }, async (request, reply) => {
    const row = await ports.store.yards.feeder(request.params.feeder);
    return row
      ? planView(row, ports.clock.now())
      : sendProblem(reply, { status: 404, detail: texts.refusals.noFeeder });
  });

  routes.post(
    "/api/v1/feeders/:feeder/plan/preview",
    { schema: { hide: true, params, body: feedingRequest } },
    async (request, reply) => {
      const row = await ports.store.yards.feeder(request.params.feeder);
      if (!row) return sendProblem(reply, { status: 404, detail: texts.refusals.noFeeder });
      return planPreview(row, request.body, ports.clock.now());
    },
  );

  routes.post(
    "/api/v1/feeders/:feeder/plan/ration",
    { schema: { hide: true, params, body: rationRequest } },
    async (request) => rationView(request.body),
  );
}
