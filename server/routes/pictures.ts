import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { pictureQuery } from "../contract/pictureRequest.ts";
import { notesView } from "../flows/notes.ts";
import { addPhoto, type PhotoProblem, pictureFile, removePicture } from "../flows/pictures.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { createBodyBudget } from "./bodyBudget.ts";
import { hasTag } from "./entityTag.ts";
import { endOverload, type Overload, onResponseEnd, refuseOverload } from "./overload.ts";
import { type Problem, sendProblem } from "./problems.ts";
import { refuseSignedOut, signedInPerson } from "./sessions.ts";

const params = z.object({ yard: z.string() });
const noteParams = params.extend({ note: z.string() });
const pictureParams = params.extend({ picture: z.string() });
const picturePath = "/api/v1/yards/:yard/pictures/:picture";

const pictureBytesMax = 8 * 1024 * 1024;
/** Two of the largest, or many of those that a phone has shrunk. */
const bodyBytesMax = 2 * pictureBytesMax;
/** Each costs a small board up to a second of work. Our choice. */
const uploadRate = { rateLimit: { max: 60, timeWindow: "1 minute" } };

/** Photographs of the notebook. A yard's people add and see them. */
export function pictureRoutes(app: FastifyInstance, ports: Ports, overload: Overload): void {
  // A plugin of its own: nowhere else is a body a picture.
  app.register(async (scope) => uploadRoute(scope, ports, overload));
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get(
    picturePath,
    { schema: { hide: true, params: pictureParams, querystring: pictureQuery } },
    async (request, reply) => {
      const { yard, picture } = request.params;
      const found = await pictureFile(ports, yard, picture, request.query.size);
      if (found === null) return sendNoPicture(reply);
      // Stored by the browser alone, and asked for each time: who has left the yard sees none of it.
      const named = () => reply.header("cache-control", "private, no-cache").header("etag", found.tag);
      if (hasTag(request, found.tag)) return named().status(304).send();
      const content = await found.read();
      if (content === null) return sendNoPicture(reply);
      return named().header("x-content-type-options", "nosniff").type("image/jpeg").send(content);
    },
  );

  routes.delete(picturePath, { schema: { hide: true, params: pictureParams } }, async (request, reply) => {
    const { yard, picture } = request.params;
    return (await removePicture(ports, yard, picture)) ? notesView(ports, yard, null) : sendNoPicture(reply);
  });
}

function uploadRoute(app: FastifyInstance, ports: Ports, overload: Overload): void {
  const budget = createBodyBudget(bodyBytesMax);
  // By any type, also a wrong one: the content decides.
  app.addContentTypeParser("*", { parseAs: "buffer", bodyLimit: pictureBytesMax }, (_request, body, done) =>
    done(null, body),
  );
  const onRequest = async (request: FastifyRequest, reply: FastifyReply) => {
    // Before the body: nobody from outside makes the server read megabytes.
    const refused = await refuseSignedOut(ports, request, reply);
    if (refused !== null) return refused;
    const noSpace = () => {
      overload.recordRefusal("request");
      endOverload(request);
    };
    const reservation = budget.reserve(bodyBytes(request), noSpace);
    if (reservation === null) {
      overload.recordRefusal("request");
      return refuseOverload(reply.header("connection", "close")); // the rest is not read
    }
    onResponseEnd(reply, reservation.release);
    request.raw.once("end", reservation.markComplete);
    return undefined;
  };
  app.withTypeProvider<ZodTypeProvider>().post(
    "/api/v1/yards/:yard/notes/:note/photos",
    {
      bodyLimit: pictureBytesMax,
      onRequest,
      config: uploadRate,
      schema: { hide: true, params: noteParams, body: z.any() },
    },
    async (request, reply) => {
      const { yard, note } = request.params;
      const { body } = request as { readonly body: unknown };
      const sent = Buffer.isBuffer(body) ? body : new Uint8Array();
      const problem = await addPhoto(ports, { yard, note, by: signedInPerson(request).name }, sent);
      return problem === null ? notesView(ports, yard, null) : sendProblem(reply, refusalOf(problem));
    },
  );
}

/** The announced length, at most what is read at all. */
function bodyBytes({ headers }: FastifyRequest): number {
  const announced = Number(headers["content-length"] ?? pictureBytesMax);
  return Number.isFinite(announced) ? Math.min(Math.max(announced, 0), pictureBytesMax) : pictureBytesMax;
}

function refusalOf(problem: PhotoProblem): Problem {
  if (problem === "noNote") return { status: 404, detail: texts.training.refusals.noNote };
  if (problem === "full") return { status: 409, detail: texts.pictures.full };
  const why = texts.pictures[problem];
  const errors = [{ field: "photo", problem: why }];
  return { status: problem === "otherKind" ? 415 : 422, detail: texts.refusals.field("photo", why), errors };
}

const sendNoPicture = (reply: FastifyReply) => sendProblem(reply, { status: 404, detail: texts.pictures.noPicture });
