import type { FastifyInstance } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { programmeChangeRequest } from "../contract/trainingRequest.ts";
import type { TrainingView } from "../contract/trainingView.ts";
import { before, days, type Instant, instantOf } from "../domain/instant.ts";
import type { PracticeProgramme } from "../flows/practiceProgramme.ts";
import { changeProgramme, undoChange } from "../flows/programmeChanges.ts";
import { seasonReport } from "../flows/seasonReport.ts";
import { trainingView } from "../flows/training.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendFieldProblem, sendProblem } from "./problems.ts";
import { signedInPerson } from "./sessions.ts";

const params = z.object({ yard: z.string() });
const path = "/api/v1/yards/:yard/training";

/** A yard's training record: its programme, what the birds did, and one advice; and what the keeper changes of it. */
export function trainingRoutes(app: FastifyInstance, ports: Ports, programme: PracticeProgramme): void {
  const viewAt = (yard: string) => viewOf(ports, yard, programme.readAt(yard, ports.clock.now()));
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get(path, { schema: { hide: true, params } }, async (request, reply) => {
    const view = await viewAt(request.params.yard);
    return view ?? sendProblem(reply, { status: 404, detail: texts.refusals.noYard });
  });

  routes.get(`${path}/report`, { schema: { hide: true, params } }, async (request, reply) => {
    const found = await yardOf(ports, request.params.yard);
    if (found === null) return sendProblem(reply, { status: 404, detail: texts.refusals.noYard });
    return seasonReport(ports, found.yard, found.feeders);
  });

  routes.post(
    `${path}/changes`,
    { schema: { hide: true, params, body: programmeChangeRequest } },
    async (request, reply) => {
      const { yard } = request.params;
      const { body } = request;
      const now = ports.clock.now();
      const at = body.at === undefined ? now : instantOf(body.at);
      const problem = problemOfMoment(at, now);
      if (problem !== null) return sendFieldProblem(reply, "at", problem);
      const outcome = await changeProgramme(ports, yard, { ...body, at, by: signedInPerson(request).name });
      if (outcome.kind === "noStage") return sendFieldProblem(reply, "content.stage", texts.training.refusals.noStage);
      return viewAt(yard);
    },
  );

  routes.post(
    `${path}/changes/:change/undo`,
    { schema: { hide: true, params: params.extend({ change: z.string() }) } },
    async (request, reply) => {
      const { yard, change } = request.params;
      const isUndone = await undoChange(ports, yard, change, signedInPerson(request).name);
      return isUndone ? viewAt(yard) : sendProblem(reply, { status: 404, detail: texts.training.refusals.noChange });
    },
  );
}

/** A change is entered within the year in which it was made. */
const oldest = days(366);

export function problemOfMoment(at: Instant, now: Instant): string | null {
  if (at > now) return texts.training.refusals.inFuture;
  return at < before(now, oldest) ? texts.training.refusals.tooOld : null;
}

async function viewOf(ports: Ports, id: string, now: Instant): Promise<TrainingView | null> {
  const found = await yardOf(ports, id);
  return found === null ? null : trainingView(ports, found.yard, found.feeders, now);
}

async function yardOf({ store }: Ports, id: string) {
  const yard = (await store.yards.yards()).find((one) => one.id === id);
  if (yard === undefined) return null;
  return { yard, feeders: (await store.yards.feeders()).filter((feeder) => feeder.yard === id) };
}
