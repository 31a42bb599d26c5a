import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { type BenchRequest, benchRequest } from "../contract/benchRequest.ts";
import { benchView, changeBenchRun } from "../flows/benchRuns.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendFieldProblem, sendProblem } from "./problems.ts";
import { signedInPerson } from "./sessions.ts";

const params = z.object({ feeder: z.string() });
const path = "/api/v1/feeders/:feeder/bench";

/** The bench run of a feeder: its course, its verdict, and what the keeper does about it. */
export function benchRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get(path, { schema: { hide: true, params } }, async (request, reply) => {
    const row = await ports.store.yards.feeder(request.params.feeder);
    return row
      ? benchView(row, ports.clock.now())
      : sendProblem(reply, { status: 404, detail: texts.refusals.noFeeder });
  });

  routes.post(path, { schema: { hide: true, params, body: benchRequest } }, async (request, reply) => {
    const { body } = request;
    if (body.what.kind === "start" && !hasStep(body.what))
      return sendFieldProblem(reply, "what.portions", texts.benchRun.nothingToDo);
    const outcome = await changeBenchRun(ports, request.params.feeder, body, signedInPerson(request).name);
    switch (outcome.kind) {
      case "noFeeder":
        return sendProblem(reply, { status: 404, detail: texts.refusals.noFeeder });
      case "conflict":
        return sendProblem(reply, { status: 409, detail: outcome.problem });
      case "done":
        return benchView(outcome.row, ports.clock.now());
    }
  });
}

const hasStep = (plan: Extract<BenchRequest["what"], { kind: "start" }>): boolean =>
  plan.quietMinutes + plan.portions + plan.caps + plan.presses + plan.soakHours + (plan.knownGrams ?? 0) > 0;
