import { constants } from "node:zlib";
import compress from "@fastify/compress";
import cookie from "@fastify/cookie";
import helmet from "@fastify/helmet";
import rateLimit from "@fastify/rate-limit";
import swagger from "@fastify/swagger";
import websocket from "@fastify/websocket";
import Fastify, { type FastifyInstance, LogController } from "fastify";
import { serializerCompiler, validatorCompiler } from "fastify-type-provider-zod";
import type { FeederSockets } from "./adapters/feederSockets.ts";
import type { LiveBrowsers } from "./adapters/liveBrowsers.ts";
import type { MqttBroker } from "./adapters/mqttBroker.ts";
import type { Config } from "./config.ts";
import { reportBytesMax } from "./contract/report.ts";
import type { FeederKeys } from "./flows/feederKeys.ts";
import { createIngest } from "./flows/ingest.ts";
import { openPasskeys } from "./flows/passkeys.ts";
import type { PracticeProgramme } from "./flows/practiceProgramme.ts";
import { scheduleRepair } from "./flows/repair.ts";
import type { Ports } from "./ports.ts";
import { accountRoutes } from "./routes/accounts.ts";
import { alarmRatesRoutes } from "./routes/alarmRates.ts";
import { alarmResponseRoutes } from "./routes/alarmResponses.ts";
import { benchRoutes } from "./routes/benchRuns.ts";
import { createBodyBudget } from "./routes/bodyBudget.ts";
import { clientRoutes, shellScriptHashes } from "./routes/client.ts";
import { digestRoutes } from "./routes/digests.ts";
import { displayReceiptRoute } from "./routes/displayReceipt.ts";
import { openApiOptions } from "./routes/documentation/openApi.ts";
import { documentationRoutes } from "./routes/documentation.ts";
import { exportKeyProof, exportKeyRoutes } from "./routes/exportKeys.ts";
import { feederApiRoutes } from "./routes/feederApi.ts";
import { serveBroker } from "./routes/feederBroker.ts";
import { createFeederLimits } from "./routes/feederLimits.ts";
import { feederLogRoute } from "./routes/feederLog.ts";
import { feederRoutes } from "./routes/feeders.ts";
import { historyRoute } from "./routes/history.ts";
import { liveRoute } from "./routes/live.ts";
import { noteRoutes } from "./routes/notes.ts";
import { limitLoad } from "./routes/overload.ts";
import { passkeyRoutes, passkeySignInRoutes } from "./routes/passkeys.ts";
import { peopleRoutes } from "./routes/people.ts";
import { phoneRoutes } from "./routes/phones.ts";
import { pictureRoutes } from "./routes/pictures.ts";
import { planRoutes } from "./routes/plans.ts";
import { portionsRoute } from "./routes/portions.ts";
import { handleErrors, refuseBadUrl, refuseBrokenRequest, sendNotFound } from "./routes/problems.ts";
import { recordImportRoute } from "./routes/recordImport.ts";
import { requireYardRole } from "./routes/rights.ts";
import { logSecurity, maskSecrets } from "./routes/securityLog.ts";
import { requireSignIn, sessionRoutes, signedInPersonId } from "./routes/sessions.ts";
import { settingsComparisonRoute } from "./routes/settingsComparison.ts";
import { stillApiRoute } from "./routes/stillApi.ts";
import { stillRoutes } from "./routes/stills.ts";
import { trainingRoutes } from "./routes/training.ts";
import { trainingExportRoutes } from "./routes/trainingExport.ts";
import { yardRoutes } from "./routes/yards.ts";

export interface AppContext {
  readonly ports: Ports;
  readonly config: Pick<Config, "reportsPerMinute" | "trustProxy" | "logLevel" | "publicUrl">;
  readonly keys: FeederKeys;
  readonly programme: PracticeProgramme;
  readonly sessionKey: string;
  readonly sockets: FeederSockets;
  readonly broker: MqttBroker | null; // null: none is configured
  readonly browsers: LiveBrowsers;
  readonly logOutput?: { write(line: string): void }; // for tests; otherwise the standard output
  readonly clientFolder: string | null; // the built client; null in tests that need none
  /** A client that takes longer than this for one request has a fault, or blocks the connection on purpose. */
  readonly requestTimeoutMilliseconds: number;
}

/** The whole server with these ports, ready to listen. Tests build the same one. */
export async function buildApp(context: AppContext): Promise<FastifyInstance> {
  const { ports, config } = context;
  const app = Fastify(serverOptions(context));
  app.setValidatorCompiler(validatorCompiler);
  app.setSerializerCompiler(serializerCompiler);
  handleErrors(app);

  forbidCaching(app);
  logSecurity(app, ports.clock, signedInPersonId);
  await app.register(websocket, { options: { maxPayload: reportBytesMax } });
  const overload = await limitLoad(app, ports.clock);
  await app.register(swagger, openApiOptions(config.reportsPerMinute));

  await registerFeederRoutes(app, context, overload);
  await registerBrowserRoutes(app, context, overload);
  return app;
}

/**
 * Everything that a browser may open. Headers for browsers, compression, cookies and people's limits are of this part alone:
 * together they took as long as all other handling of a feeder's request, and no feeder has a use for them.
 */
async function registerBrowserRoutes(app: FastifyInstance, context: AppContext, overload: LoadLimits): Promise<void> {
  const { ports, config, clientFolder } = context;
  await app.register(async (scope) => {
    await scope.register(helmet, securityHeaders(config.publicUrl, shellScriptHashes(clientFolder)));
    await scope.register(rateLimit, { global: false });
    await scope.register(compress, { brotliOptions: smallBrotli });
    await scope.register(cookie, { secret: context.sessionKey });

    documentationRoutes(scope, config.reportsPerMinute);
    await registerKeeperRoutes(scope, context, overload);
    healthRoute(scope, ports, context.broker);
    if (clientFolder !== null) await clientRoutes(scope, clientFolder);
    else scope.setNotFoundHandler(sendNotFound);
  });
}

type LoadLimits = Awaited<ReturnType<typeof limitLoad>>;

/** Routes of feeders: a key or a signature is checked in each route. */
async function registerFeederRoutes(app: FastifyInstance, context: AppContext, overload: LoadLimits): Promise<void> {
  const { ports, keys, sockets, broker, config } = context;
  await app.register(async (scope) => {
    const { reportsPerMinute } = config;
    const limits = createFeederLimits(reportsPerMinute, ports.clock);
    const bodies = { proven: createBodyBudget(bodyBytesMax), unproven: createBodyBudget(bodyBytesMax) };
    const ingest = createIngest(ports, () => scheduleRepair(ports, app.log));
    const reporting = { ports, keys, ingest, sockets, reportsPerMinute, limits, overload, bodies };
    await feederApiRoutes(scope, reporting);
    await scope.register(async (own) => stillApiRoute(own, reporting));
    if (broker !== null) serveBroker(scope, reporting, broker);
  });
}

/** Routes of people: sign-in, then those that need a session and a role at the yard. */
async function registerKeeperRoutes(app: FastifyInstance, context: AppContext, overload: LoadLimits): Promise<void> {
  const { ports, keys, config } = context;
  await app.register(async (scope) => sessionRoutes(scope, ports, overload));
  const passkeys = { ports, passkeys: openPasskeys(ports), publicUrl: config.publicUrl };
  await app.register(async (scope) => passkeySignInRoutes(scope, passkeys));
  await app.register(async (scope) => displayReceiptRoute(scope, ports));
  await app.register(async (scope) => {
    requireSignIn(scope, ports);
    requireYardRole(scope, ports);
    yardRoutes(scope, ports, keys, context.programme);
    feederRoutes(scope, ports, keys);
    planRoutes(scope, ports);
    benchRoutes(scope, ports);
    alarmResponseRoutes(scope, ports);
    feederLogRoute(scope, ports);
    historyRoute(scope, ports);
    portionsRoute(scope, ports);
    settingsComparisonRoute(scope, ports);
    phoneRoutes(scope, ports);
    digestRoutes(scope, ports);
    alarmRatesRoutes(scope, ports);
    trainingRoutes(scope, ports, context.programme);
    noteRoutes(scope, ports);
    pictureRoutes(scope, ports, overload);
    recordImportRoute(scope, ports);
    stillRoutes(scope, ports);
    peopleRoutes(scope, ports);
    accountRoutes(scope, ports, keys);
    exportKeyRoutes(scope, ports);
    passkeyRoutes(scope, passkeys);
    liveRoute(scope, ports, context.browsers);
  });
  // By itself: an export key opens these routes and no other one.
  await app.register(async (scope) => {
    requireSignIn(scope, ports, exportKeyProof(ports));
    requireYardRole(scope, ports);
    trainingExportRoutes(scope, ports);
  });
}

/** Of the broker it says only whether it is reached: the server is well without it. The log has the reason. */
function healthRoute(app: FastifyInstance, ports: Ports, broker: MqttBroker | null): void {
  app.get("/api/v1/health", { schema: { summary: "Whether the server is well" } }, async (_request, reply) => {
    if (ports.store.condition.damage()?.kind === "damaged") return reply.status(503).send({ status: "damaged" });
    await ports.store.keepers.countKeepers(); // the database answers, or this throws
    const brokerState = broker === null ? {} : { broker: broker.isConnected ? "connected" : "notConnected" };
    return { status: "well", ...brokerState };
  });
}

function serverOptions({ config, logOutput, requestTimeoutMilliseconds }: AppContext) {
  return {
    logger: {
      level: config.logLevel,
      redact: ["req.headers.authorization", "req.headers.cookie"],
      hooks: { streamWrite: maskSecrets },
      ...(logOutput ? { stream: logOutput } : {}),
    },
    // Two lines for each report would fill a small board's memory card without use.
    logController: new LogController({ disableRequestLogging: true }),
    // Only the proxy directly in front of the server. Earlier addresses in the header come from the client and are not trusted.
    trustProxy: config.trustProxy ? (_address: string, hop: number) => hop < 1 : false,
    requestTimeout: requestTimeoutMilliseconds,
    http: {
      // Node.js swaps the two limits where that for headers is longer, and checks them only at this interval.
      headersTimeout: Math.min(10_000, requestTimeoutMilliseconds),
      connectionsCheckingInterval: Math.min(5_000, requestTimeoutMilliseconds),
    },
    clientErrorHandler: refuseBrokenRequest,
    frameworkErrors: refuseBadUrl,
    bodyLimit: 64 * 1024,
    routerOptions: { maxParamLength: 128 },
  };
}

/**
 * With the default window of 4 MiB each answer takes some 8 MiB while it is compressed (RFC 7932, 9.1; nodejs.org/api/zlib.html).
 */
const smallBrotli = {
  params: { [constants.BROTLI_PARAM_QUALITY]: 4, [constants.BROTLI_PARAM_LGWIN]: 16 },
};

/** Four of the largest reports. As parsed JSON they take some ten times as much memory, and the server shares a small board. */
const bodyBytesMax = 4 * reportBytesMax;

/**
 * No cache stores the answers of the API, neither on the network nor on the phone (RFC 9111, 5.2.2.5). A route that knows better says
 * so itself (entityTag.ts).
 */
function forbidCaching(app: FastifyInstance): void {
  app.addHook("onRequest", (request, reply, next) => {
    if (/^\/api(\/|\?|$)/i.test(request.url)) reply.header("cache-control", "no-store");
    next();
  });
}

/** Strict, except for plain-HTTP home networks: an upgrade to https would fail there. */
function securityHeaders(publicUrl: string | null, ownScripts: readonly string[]) {
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
