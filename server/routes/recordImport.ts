import type { FastifyInstance, FastifyReply } from "fastify";
import type { ZodTypeProvider } from "fastify-type-provider-zod";
import { z } from "zod";
import type { ImportedRecordView } from "../contract/trainingView.ts";
import { importRecord } from "../flows/recordImport.ts";
import type { Ports, YardRow } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem, sendWrongField } from "./problems.ts";
import { refuseSignedOut, signedInPerson } from "./sessions.ts";

const params = z.object({ yard: z.string() });

/** A yard's ten years with all its pictures; it waits on the disk, not in memory. Our choice. */
const archiveBytesMax = 2 * 1024 ** 3;
const fewTries = { rateLimit: { max: 10, timeWindow: "1 minute" } };

/** Takes an exported training record into a yard. */
export function recordImportRoute(app: FastifyInstance, ports: Ports): void {
  // A plugin of its own: nowhere else is a body read by its route.
  app.register(async (scope) => {
    scope.addContentTypeParser("*", (_request, body, done) => done(null, body));
    let isBusy = false;
    scope.withTypeProvider<ZodTypeProvider>().post(
      "/api/v1/yards/:yard/training/import",
      {
        bodyLimit: archiveBytesMax,
        // Before the body: nobody from outside makes the server write gigabytes.
        onRequest: async (request, reply) => (await refuseSignedOut(ports, request, reply)) ?? undefined,
        config: fewTries,
        schema: { hide: true, params, body: z.any() },
      },
      async (request, reply): Promise<ImportedRecordView | FastifyReply> => {
        const yard = (await ports.store.yards.yards()).find(({ id }) => id === request.params.yard);
        if (yard === undefined) return sendProblem(reply, { status: 404, detail: texts.refusals.noYard });
        if (isBusy) return sendProblem(reply, { status: 409, detail: texts.recordImport.busy });
        isBusy = true;
        try {
          const { body } = request as { readonly body: unknown };
          return await take(ports, yard, { body, by: signedInPerson(request).name }, reply);
        } finally {
          isBusy = false;
        }
      },
    );
  });
}

interface SentArchive {
  readonly body: unknown;
  readonly by: string;
}

async function take(
  ports: Ports,
  yard: YardRow,
  { body, by }: SentArchive,
  reply: FastifyReply,
): Promise<ImportedRecordView | FastifyReply> {
  const text = texts.recordImport;
  const archive = isStream(body) ? await ports.archives.open(body, archiveBytesMax) : "unreadable";
  if (archive === "unreadable") return sendWrongField(reply, { field: "file", problem: text.noTable });
  if (archive === "tooLarge") {
    const problem = text.tooLarge(archiveBytesMax / 1024 ** 3);
    return sendProblem(reply, { status: 413, detail: texts.refusals.field("file", problem) });
  }
  try {
    const done = await importRecord(ports, yard, archive, by);
    return "changes" in done ? done : sendProblem(reply, { status: 422, detail: text.refused, errors: done });
  } finally {
    await archive.close();
  }
}

const isStream = (body: unknown): body is AsyncIterable<Uint8Array> =>
  typeof body === "object" && body !== null && Symbol.asyncIterator in body;
