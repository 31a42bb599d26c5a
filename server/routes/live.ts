import type { FastifyInstance, FastifyRequest } from "fastify";
import type { BrowserSession, LiveBrowsers } from "../adapters/liveBrowsers.ts";
import { validSession } from "../flows/signIn.ts";
import type { Ports } from "../ports.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";
import { sessionHash, signedInPerson } from "./sessions.ts";

/** Sends open browsers what changed; they fetch it themselves. */
export function liveRoute(app: FastifyInstance, ports: Ports, browsers: LiveBrowsers): void {
  const yardsOf = new WeakMap<FastifyRequest, ReadonlySet<string>>();
  app.get(
    "/api/v1/live",
    {
      websocket: true,
      schema: { hide: true },
      preValidation: async (request, reply) => {
        // Browsers send cookies with a socket that another site's page opens, but also the origin of that page.
        const { origin, host } = request.headers;
        if (origin !== undefined && originHost(origin) !== host) {
          return sendProblem(reply, { status: 403, detail: texts.refusals.otherSite });
        }
        yardsOf.set(request, await currentYards(ports, signedInPerson(request).id));
        const refused = browsers.refusal(sessionHash(request));
        if (refused !== null) return sendProblem(reply, { status: 429, detail: refused });
      },
    },
    (socket, request) => {
      socket.on("error", (error) => request.log.info({ err: error }, "a browser's socket broke"));
      const [person, session] = [signedInPerson(request).id, sessionHash(request)];
      const yards = yardsOf.get(request) ?? new Set();
      browsers.attach(socket, { person, session, yards });
      confirmAccess(ports, { person, session, yards }).catch((error: unknown) => {
        request.log.error({ err: error }, "whether a live socket is still allowed could not be read; it is closed");
        browsers.closeSocketsOf({ session });
      });
    },
  );
}

/**
 * Checks again after the socket is attached. When a session ends or a person is removed, only attached sockets are closed; this
 * one was not attached yet at the first check.
 */
async function confirmAccess(ports: Ports, { person, session, yards }: BrowserSession): Promise<void> {
  if ((await validSession(ports, session)) === null) return ports.liveFeed.closeSocketsOf({ session });
  const now = await currentYards(ports, person);
  if (now.size !== yards.size || [...now].some((yard) => !yards.has(yard))) ports.liveFeed.reconnect(person);
}

async function currentYards({ store }: Ports, person: string): Promise<ReadonlySet<string>> {
  return new Set((await store.people.membershipsOf(person)).map(({ yard }) => yard));
}

const originHost = (origin: string): string | null => (URL.canParse(origin) ? new URL(origin).host : null);
