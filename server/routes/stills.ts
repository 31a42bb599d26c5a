import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { pictureQuery } from "../contract/pictureRequest.ts";
import { placeQuery } from "../contract/placeQuery.ts";
import { stillChangeRequest } from "../contract/stillRequest.ts";
import { removeStill, stillFile, stillsView } from "../flows/stills.ts";
import type { Ports, StillChanges } from "../ports.ts";
import { texts } from "../text/index.ts";
import { hasTag } from "./entityTag.ts";
import { pagePlace } from "./pagePlace.ts";
import { sendProblem } from "./problems.ts";

const params = z.object({ yard: z.string() });
const stillParams = params.extend({ still: z.string() });
const path = "/api/v1/yards/:yard/stills";

/** What a yard's cameras have sent. Its people see, label and delete it, as they do with notes. */
export function stillRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();

  routes.get(path, { schema: { hide: true, params, querystring: placeQuery } }, async (request) => {
    return stillsView(ports, request.params.yard, pagePlace(request.query));
  });

  routes.patch(
    `${path}/:still`,
    { schema: { hide: true, params: stillParams, body: stillChangeRequest } },
    async (request, reply) => {
      const { yard, still } = request.params;
      const changed = await ports.store.stills.changeStill(yard, still, definedOf(request.body));
      return changed ? stillsView(ports, yard, null) : sendNoStill(reply);
    },
  );

  routes.delete(`${path}/:still`, { schema: { hide: true, params: stillParams } }, async (request, reply) => {
    const { yard, still } = request.params;
    return (await removeStill(ports, yard, still)) ? stillsView(ports, yard, null) : sendNoStill(reply);
  });

  routes.get(
    `${path}/:still/picture`,
    { schema: { hide: true, params: stillParams, querystring: pictureQuery } },
    async (request, reply) => {
      const { yard, still } = request.params;
      const found = await stillFile(ports, yard, still, request.query.size);
      if (found === null) return sendNoStill(reply);
      // As a note's photograph (pictures.ts): who has left the yard sees none of it.
      const named = () => reply.header("cache-control", "private, no-cache").header("etag", found.tag);
      if (hasTag(request, found.tag)) return named().status(304).send();
      const content = await found.read();
      if (content === null) return sendNoStill(reply);
      return named().header("x-content-type-options", "nosniff").type("image/jpeg").send(content);
    },
  );
}

const sendNoStill = (reply: FastifyReply) => sendProblem(reply, { status: 404, detail: texts.stills.noStill });

/** Without what was left out: it stays as it is. */
function definedOf({ starred, who, brought }: z.infer<typeof stillChangeRequest>): StillChanges {
  return {
    ...(starred === undefined ? {} : { starred }),
    ...(who === undefined ? {} : { who }),
    ...(brought === undefined ? {} : { brought }),
  };
}
