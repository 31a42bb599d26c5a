import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { placeQuery } from "../contract/placeQuery.ts";
import { noteChangeRequest, noteRequest } from "../contract/trainingRequest.ts";
import { type Instant, instantOf } from "../domain/instant.ts";
import { addNote, notesView } from "../flows/notes.ts";
import { removeNote } from "../flows/pictures.ts";
import type { Ports, StillRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import { pagePlace } from "./pagePlace.ts";
import { sendFieldProblem, sendProblem } from "./problems.ts";
import { signedInPerson } from "./sessions.ts";
import { problemOfMoment } from "./training.ts";

const params = z.object({ yard: z.string() });
const noteParams = params.extend({ note: z.string() });
const path = "/api/v1/yards/:yard/notes";

/** The notebook of a yard. Its keepers and helpers write in it. */
export function noteRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();
  const { training } = ports.store;

  routes.get(path, { schema: { hide: true, params, querystring: placeQuery } }, async (request) => {
    return notesView(ports, request.params.yard, pagePlace(request.query));
  });

  routes.post(path, { schema: { hide: true, params, body: noteRequest } }, async (request, reply) => {
    const { yard } = request.params;
    const now = ports.clock.now();
    const asked = request.body.at === undefined ? null : instantOf(request.body.at);
    const wrongMoment = problemOfMoment(asked ?? now, now);
    if (wrongMoment !== null) return sendFieldProblem(reply, "at", wrongMoment);
    const at = (still: StillRow | null) => asked ?? (still === null ? now : momentOf(still, now));
    const problem = await addNote(ports, yard, request.body, { at, by: signedInPerson(request).name });
    if (problem === "noStill") return sendFieldProblem(reply, "still", texts.training.refusals.noStill);
    if (problem === "noFeeder") return sendFieldProblem(reply, "feeder", texts.refusals.noFeeder);
    if (problem === "noStage") return sendFieldProblem(reply, "stage", texts.training.refusals.noStage);
    return notesView(ports, yard, null);
  });

  routes.patch(
    `${path}/:note`,
    { schema: { hide: true, params: noteParams, body: noteChangeRequest } },
    async (request, reply) => {
      const { yard, note } = request.params;
      const changes = { text: request.body.text, changedAt: ports.clock.now() };
      return (await training.changeNote(yard, note, changes)) ? notesView(ports, yard, null) : sendNoNote(reply);
    },
  );

  routes.delete(`${path}/:note`, { schema: { hide: true, params: noteParams } }, async (request, reply) => {
    const { yard, note } = request.params;
    return (await removeNote(ports, yard, note)) ? notesView(ports, yard, null) : sendNoNote(reply);
  });
}

/** A feeder's clock may be ahead; and what was starred may be older than a note can be. */
const momentOf = ({ at }: StillRow, now: Instant): Instant => (problemOfMoment(at, now) === null ? at : now);

const sendNoNote = (reply: FastifyReply) => sendProblem(reply, { status: 404, detail: texts.training.refusals.noNote });
