import compress from "@fastify/compress";
import cookie from "@fastify/cookie";
import helmet from "@fastify/helmet";
import rateLimit from "@fastify/rate-limit";
import swagger from "@fastify/swagger";
import underPressure from "@fastify/under-pressure";
import websocket from "@fastify/websocket";
import Fastify, { type FastifyInstance, LogController } from "fastify";
import { serializerCompiler, validatorCompiler } from "fastify-type-provider-zod";
import type { FeederSockets } from "./adapters/feederSockets.ts";
import type { LiveBrowsers } from "./adapters/liveBrowsers.ts";
import type { Config } from "./config.ts";
import { reportBytesMax } from "./contract/report.ts";
import type { FeederKeys } from "./flows/feederKeys.ts";
import { startIngest } from "./flows/ingest.ts";
import { openPasskeys } from "./flows/passkeys.ts";
import type { Ports } from "./ports.ts";
import { clientRoutes, shellScriptHashes } from "./routes/client.ts";
import { digestRoutes } from "./routes/digests.ts";
import { openApiOptions } from "./routes/documentation/openApi.ts";
import { documentationRoutes } from "./routes/documentation.ts";
import { feederDoor } from "./routes/feederDoor.ts";
import { feederLogRoute } from "./routes/feederLog.ts";
import { feederRoutes } from "./routes/feeders.ts";
import { liveRoute } from "./routes/live.ts";
import { passkeyRoutes, passkeySignInRoutes } from "./routes/passkeys.ts";
import { peopleRoutes } from "./routes/people.ts";
import { phoneRoutes } from "./routes/phones.ts";
import { nothingHere, refuseBrokenRequest, speakProblems } from "./routes/problems.ts";
import { ratesRoutes } from "./routes/rates.ts";
import { ofTheirYardsOnly } from "./routes/rights.ts";
import { keepersOnly, sessionRoutes } from "./routes/sessions.ts";
import { shownRoute } from "./routes/shown.ts";
import { yardRoutes } from "./routes/yards.ts";

export interface House {
  readonly ports: Ports;
  readonly config: Pick<Config, "reportsPerMinute" | "trustProxy" | "logLevel" | "publicUrl">;
  readonly keys: FeederKeys;
  readonly sessionKey: string;
  readonly sockets: FeederSockets;
  readonly browsers: LiveBrowsers;
  readonly clientFolder: string | null; // the built client; null in tests that need none
  /** A sender that takes longer than this for one request is broken, or means to hold the line. */
  readonly requestTimeoutMilliseconds: number;
}

/** The whole server around given ports, ready to listen. Tests build the same one. */
export async function buildApp(house: House): Promise<FastifyInstance> {
  const { ports, config, keys } = house;
  const app = Fastify({
    logger: { level: config.logLevel, redact: ["req.headers.authorization", "req.headers.cookie"] },
    // Two lines for each report would fill a small board's card with nothing that anyone reads.
    logController: new LogController({ disableRequestLogging: true }),
    trustProxy: config.trustProxy,
    requestTimeout: house.requestTimeoutMilliseconds,
    http: {
      // Node swaps the two limits where the one for headers is the longer, and looks only so often whether one is passed.
      headersTimeout: Math.min(10_000, house.requestTimeoutMilliseconds),
      connectionsCheckingInterval: Math.min(5_000, house.requestTimeoutMilliseconds),
    },
    clientErrorHandler: refuseBrokenRequest,
    bodyLimit: 64 * 1024,
    routerOptions: { maxParamLength: 128 },
  });
  app.setValidatorCompiler(validatorCompiler);
  app.setSerializerCompiler(serializerCompiler);
  speakProblems(app);

  await app.register(helmet, headersFor(config.publicUrl, shellScriptHashes(house.clientFolder)));
  await app.register(rateLimit, { global: false });
  await app.register(underPressure, { maxEventLoopDelay: 3_000 });
  await app.register(compress);
  await app.register(cookie, { secret: house.sessionKey });
  await app.register(websocket, { options: { maxPayload: reportBytesMax } });
  await app.register(swagger, openApiOptions(config.reportsPerMinute));
  documentationRoutes(app, config.reportsPerMinute);

  await app.register(async (room) => {
    const { reportsPerMinute } = config;
    await feederDoor(room, { ports, keys, ingest: startIngest(ports), sockets: house.sockets, reportsPerMinute });
  });
  await app.register(async (room) => sessionRoutes(room, ports));
  const passkeys = { ports, passkeys: openPasskeys(ports), publicUrl: config.publicUrl };
  await app.register(async (room) => passkeySignInRoutes(room, passkeys));
  await app.register(async (room) => shownRoute(room, ports));
  await app.register(async (room) => {
    keepersOnly(room, ports);
    ofTheirYardsOnly(room, ports);
    yardRoutes(room, ports, keys);
    feederRoutes(room, ports, keys);
    feederLogRoute(room, ports);
    phoneRoutes(room, ports);
    digestRoutes(room, ports);
    ratesRoutes(room, ports);
    peopleRoutes(room, ports);
    passkeyRoutes(room, passkeys);
    liveRoute(room, ports, house.browsers);
  });
  app.get("/api/v1/health", { schema: { summary: "Whether the server is well" } }, async () => {
    await ports.store.keepers.countKeepers(); // the database answers, or this throws
    return { status: "well" };
  });
  if (house.clientFolder !== null) await clientRoutes(app, house.clientFolder);
  else app.setNotFoundHandler(nothingHere);
  return app;
}

/** Strict, but for plain-HTTP home networks: there, upgrading to https would end in nothing. */
function headersFor(publicUrl: string | null, ownScripts: readonly string[]) {
  const https = publicUrl?.startsWith("https://") ?? false;
  return {
    contentSecurityPolicy: {
      useDefaults: false,
      directives: {
        defaultSrc: ["'self'"],
        scriptSrc: ["'self'", ...ownScripts],
        baseUri: ["'none'"],
        objectSrc: ["'none'"],
        frameAncestors: ["'none'"],
        formAction: ["'self'"],
        imgSrc: ["'self'", "data:"],
      },
    },
    hsts: https ? { maxAge: 15_552_000, includeSubDomains: false } : false,
    crossOriginOpenerPolicy: https,
    originAgentCluster: false,
  };
}
