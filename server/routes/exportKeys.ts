import type { FastifyInstance, FastifyReply, FastifyRequest } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import { exportKeyRequest } from "../contract/api.ts";
import { exportKeysView, makeExportKey, useExportKey } from "../flows/exportKeys.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { refuseTooOften } from "./feederIdentity.ts";
import { senderAddress } from "./feederLimits.ts";
import { sendProblem, sendWrongField } from "./problems.ts";
import { createRateLimit } from "./rateLimit.ts";
import { logSecurityEvent } from "./securityLog.ts";
import { type OtherProof, signedInPerson } from "./sessions.ts";

const fewTries = { rateLimit: { max: 10, timeWindow: "1 minute" } };

/** One's own export keys, for whoever is signed in. */
export function exportKeyRoutes(app: FastifyInstance, ports: Ports): void {
  const routes = app.withTypeProvider<ZodTypeProvider>();
  const path = "/api/v1/me/export-keys";

  routes.get(path, { schema: { hide: true } }, (request) => exportKeysView(ports, signedInPerson(request).id));

  routes.post(
    path,
    { config: fewTries, schema: { hide: true, body: exportKeyRequest } },
    async (request, reply): Promise<FastifyReply> => {
      const person = signedInPerson(request).id;
      const made = await makeExportKey(ports, person, request.body);
      switch (made.kind) {
        case "made":
          return reply.status(201).send({ key: made.key, ...(await exportKeysView(ports, person)) });
        case "tooMany":
          return sendProblem(reply, { status: 409, detail: texts.refusals.tooManyExportKeys(made.most) });
        case "wrong":
          return sendWrongField(reply, made);
      }
    },
  );

  const params = z.object({ exportKey: z.string() });
  routes.delete(`${path}/:exportKey`, { schema: { hide: true, params } }, async (request, reply) => {
    const person = signedInPerson(request).id;
    const isRemoved = await ports.store.accounts.removeExportKey(person, request.params.exportKey);
    return isRemoved
      ? exportKeysView(ports, person)
      : sendProblem(reply, { status: 404, detail: texts.refusals.noExportKey });
  });
}

/** As for keys of feeders (feederLimits.ts). */
const failuresByAddress = 60;
const failuresInAll = 600;
/** Every table of a yard, twice, and some more. Chosen, no source. */
const usesPerMinute = 30;

/** The key of a program that reads the export: only wrong ones count for an address, so a right one is accepted from any. */
export function exportKeyProof(ports: Ports): OtherProof {
  const failures = createRateLimit(failuresByAddress, ports.clock);
  const allFailures = createRateLimit(failuresInAll, ports.clock);
  const uses = createRateLimit(usesPerMinute, ports.clock);

  function refuseUnknown(request: FastifyRequest, reply: FastifyReply): FastifyReply {
    logSecurityEvent(request, { event: "exportKeyRefused", address: senderAddress(request) });
    const [own, all] = [failures.countOne(senderAddress(request)), allFailures.countOne("")];
    const wait = own ?? all;
    if (wait !== null) return refuseTooOften(reply, { status: 429, detail: texts.refusals.tooManyWrongKeys }, wait);
    const problem = texts.refusals.unknownExportKey;
    return sendProblem(reply.header("www-authenticate", "Bearer"), {
      status: 401,
      detail: texts.refusals.field("Authorization", problem),
      errors: [{ field: "Authorization", problem }],
    });
  }

  return async (request, reply) => {
    const key = request.headers.authorization?.match(/^bearer\s+(\S+)$/i)?.[1];
    if (key === undefined) return null;
    const found = await useExportKey(ports, key);
    if (found === null) return { kind: "refused", reply: refuseUnknown(request, reply) };
    const wait = uses.countOne(found.id);
    if (wait === null) return { kind: "proved", person: found.person };
    const tooMany = { status: 429, detail: texts.refusals.tooManyExports(usesPerMinute) };
    return { kind: "refused", reply: refuseTooOften(reply, tooMany, wait) };
  };
}
