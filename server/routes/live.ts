import type { FastifyInstance, FastifyRequest } from "fastify";
import type { LiveBrowsers } from "../adapters/liveBrowsers.ts";
import type { Ports } from "../ports.ts";
import { sendProblem } from "./problems.ts";
import { keeperOf } from "./sessions.ts";

/** Tells watching browsers what changed; they fetch it themselves. */
export function liveRoute(app: FastifyInstance, ports: Ports, browsers: LiveBrowsers): void {
  const yardsOf = new WeakMap<FastifyRequest, ReadonlySet<string>>();
  app.get(
    "/api/v1/live",
    {
      websocket: true,
      schema: { hide: true },
      preValidation: async (request, reply) => {
        // Browsers send cookies with a socket that another site's page opens, but they also say whose page it is.
        const { origin, host } = request.headers;
        if (origin !== undefined && hostOf(origin) !== host) {
          return sendProblem(reply, { status: 403, detail: "Another site may not watch." });
        }
        const of = await ports.store.people.membershipsOf(keeperOf(request).id);
        yardsOf.set(request, new Set(of.map(({ yard }) => yard)));
      },
    },
    (socket, request) => {
      socket.on("error", (error) => request.log.info({ err: error }, "a browser's socket broke"));
      browsers.attach(socket, keeperOf(request).id, yardsOf.get(request) ?? new Set());
    },
  );
}

const hostOf = (origin: string): string | null => (URL.canParse(origin) ? new URL(origin).host : null);
