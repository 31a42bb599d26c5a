import { rmSync } from "node:fs";
import Database from "better-sqlite3";
import type { FastifyInstance } from "fastify";
import webpush from "web-push";
import { endpointGuard } from "../../server/adapters/endpointGuard.ts";
import { createFeederSockets } from "../../server/adapters/feederSockets.ts";
import { createGuessEstimator } from "../../server/adapters/guessEstimator.ts";
import { createLiveBrowsers } from "../../server/adapters/liveBrowsers.ts";
import { createPictureEncoder } from "../../server/adapters/pictureEncoder.ts";
import { noRetainedMessages } from "../../server/adapters/retainedMessages.ts";
import { connect } from "../../server/adapters/store/openStore.ts";
import { createStore } from "../../server/adapters/store/prismaStore.ts";
import { webPush } from "../../server/adapters/webPush.ts";
import { createZipArchives } from "../../server/adapters/zipArchives.ts";
import { buildApp } from "../../server/app.ts";
import { after, type Instant, instantOf, seconds } from "../../server/domain/instant.ts";
import { sendDueDigests } from "../../server/flows/digest.ts";
import { advanceDueEscalations, startMissingEscalations } from "../../server/flows/escalations.ts";
import { feederKeys } from "../../server/flows/feederKeys.ts";
import { drainOutbox, pruneOld } from "../../server/flows/outbox.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import { createPracticeProgramme } from "../../server/flows/practiceProgramme.ts";
import { rebuildState } from "../../server/flows/pure/rebuildState.ts";
import { openFirstSignIn } from "../../server/flows/signIn.ts";
import { type EmailGateway, type Ports, type Store, StoreBusy, StoreFull } from "../../server/ports.ts";
import { inProcessComparer } from "../support/inProcessComparer.ts";
import { memoryPictureFiles } from "../support/memoryPictureFiles.ts";
import { copyDatabase } from "../support/migratedDatabase.ts";
import { type PushService, startPushService } from "../support/pushService.ts";

/**
 * The whole server over a database on the disk and a push service on the loopback, in virtual time, that can be killed and
 * started again at any moment.
 */
export interface ScenarioServer {
  readonly push: PushService;
  now(): Instant;
  pass(milliseconds: number): void;
  firstSignInToken(): Promise<string>;
  request(method: Method, url: string, more?: ScenarioRequest): Promise<ScenarioAnswer>;
  /** One run of the server's own loop: periodic check, escalations, digests, outbox. */
  runTick(): Promise<void>;
  /** From now on nothing can be stored (`busy`: locked, `full`: no room), or all can again (null). */
  refuseToStore(why: "busy" | "full" | null): void;
  mailServerIsDead: boolean;
  readonly emails: { readonly to: string; readonly subject: string; readonly text: string }[];
  /** What went wrong inside and was only logged. */
  readonly complaints: string[];
  /** Ends the process's part and starts another on the same database. What was not committed is gone. */
  restart(): Promise<void>;
  readonly database: Database.Database;
  close(): Promise<void>;
}

export type Method = "GET" | "POST" | "PATCH" | "DELETE";
export interface ScenarioRequest {
  readonly headers?: Record<string, string>;
  readonly body?: object | string | undefined;
  /** Whose address it comes from: limits count by it. */
  readonly from?: string;
}
export interface ScenarioAnswer {
  readonly status: number;
  readonly body: never;
  readonly text: string;
  readonly cookie: string | null;
}

/** A database that can't store just now: what was to be done stays due. The error is this one or has it as a cause. */
const isPutOff = (error: unknown): boolean =>
  error instanceof StoreBusy || error instanceof StoreFull || (error instanceof Error && isPutOff(error.cause));

const vapid = { subject: "mailto:ada@alder.example", ...webpush.generateVAPIDKeys() };
/**
 * Of the gateway, in real milliseconds: the push service is on this machine. Shorter, and a busy machine makes a service that
 * works look like one that hangs, so that a seed finds something else each time.
 */
const pushPatience = 500;

export async function openScenarioServer(base: string, begin: string): Promise<ScenarioServer> {
  const { folder, file } = copyDatabase(base);
  const push = await startPushService();
  const database = new Database(file);
  const mails: ScenarioServer["emails"] = [];
  const complaints: string[] = [];
  let now = instantOf(begin);
  let refusing: "busy" | "full" | null = null;

  const start = async () => {
    const connections = await connect(`file:${file}`, rebuildState);
    const opened = createStore(connections);
    const store: Store = {
      ...opened,
      transaction: (work, committed) => {
        if (refusing === "busy") return Promise.reject(new StoreBusy("locked by another program"));
        if (refusing === "full") return Promise.reject(new StoreFull("no room on the disk"));
        return opened.transaction(work, committed);
      },
    };
    const [sockets, browsers] = [createFeederSockets(), createLiveBrowsers()];
    const guard = endpointGuard({ allowPrivateEndpoints: true });
    const ports: Ports = {
      clock: { now: () => now },
      store,
      push: webPush({ vapid, publicUrl: null, guard, timeoutMs: pushPatience, tls: { ca: push.ca } }),
      email: emailGateway,
      feederLink: sockets,
      retainedMessages: noRetainedMessages,
      liveFeed: browsers,
      outboxSignal: { notify: () => undefined },
      practiceRunner: {
        start: () => undefined,
        stop: async () => undefined,
        setFault: () => undefined,
        state: () => ({ running: false, fault: "none" }),
      },
      guessEstimator: createGuessEstimator(),
      settingsComparer: inProcessComparer(file),
      pictureFiles: memoryPictureFiles({ now: () => now }),
      pictureEncoder: createPictureEncoder(),
      archives: createZipArchives(`${file}-imports`),
    };
    const keys = feederKeys(store.yards);
    const app = await buildApp({
      ...{ ports, keys, programme: createPracticeProgramme(ports, keys, 1) },
      config: { reportsPerMinute: 10_000, trustProxy: false, logLevel: "silent", publicUrl: null },
      requestTimeoutMilliseconds: 20_000,
      sessionKey: "a session key that is only for tests, 32 and more",
      sockets,
      broker: null,
      browsers,
      clientFolder: null,
    });
    await startMissingEscalations(ports);
    const close = async () => {
      sockets.closeAll();
      browsers.closeAll();
      await app.close();
      await opened.close();
    };
    return { app, ports, close };
  };

  const emailGateway: EmailGateway = {
    isConfigured: true,
    async send(to, { subject, text }) {
      if (server.mailServerIsDead) return { kind: "tryLater", notBefore: null, text: "no answer" };
      mails.push({ to, subject, text });
      return { kind: "accepted" };
    },
  };
  let running: { app: FastifyInstance; ports: Ports; close(): Promise<void> };

  /** A tick that fails is logged and comes again, as in main.ts; only what must not happen is a complaint. */
  const tick = async (name: string, work: () => Promise<unknown>) => {
    try {
      await work();
    } catch (error) {
      const causes: readonly unknown[] = error instanceof AggregateError ? error.errors : [error];
      if (causes.every(isPutOff)) return;
      complaints.push(`${name}: ${error instanceof Error ? error.stack : String(error)}`);
    }
  };

  const server: ScenarioServer = {
    push,
    emails: mails,
    complaints,
    database,
    mailServerIsDead: false,
    now: () => now,
    pass: (milliseconds) => {
      now = after(now, milliseconds as never);
    },
    async firstSignInToken() {
      const token = await openFirstSignIn(running.ports);
      if (token === null) throw new Error("expected an open first sign-in in a fresh scenario");
      return token;
    },
    async request(method, url, { headers = {}, body, from = "127.0.0.1" } = {}) {
      const answer = await running.app.inject({
        method,
        url,
        remoteAddress: from,
        headers: typeof body === "string" ? { "content-type": "application/json", ...headers } : headers,
        ...(body === undefined ? {} : { payload: body }),
      });
      const set = answer.headers["set-cookie"];
      const isJson = String(answer.headers["content-type"] ?? "").includes("json");
      return {
        status: answer.statusCode,
        text: answer.body,
        body: (isJson && answer.body !== "" ? answer.json() : null) as never,
        cookie: set === undefined ? null : (String(set).split(";")[0] as string),
      };
    },
    async runTick() {
      const { ports } = running;
      await tick("periodic check", () => runPeriodicChecks(ports));
      await tick("escalations", () => advanceDueEscalations(ports));
      await tick("digest", () => sendDueDigests(ports));
      await tick("outbox", () =>
        drainOutbox(ports, {
          publicUrl: null,
          attemptMax: { push: seconds(10), email: seconds(30) },
          queueMax: seconds(5),
          most: 50,
          jitter: () => 0,
          log: { error: ({ err }, words) => void complaints.push(`${words}: ${String(err)}`) },
        }),
      );
      if (Math.floor(now / 60_000) % 60 === 17) await tick("clearing up", () => pruneOld(ports));
    },
    refuseToStore: (why) => {
      refusing = why;
    },
    async restart() {
      await running.close();
      running = await start();
    },
    async close() {
      await running.close();
      await push.close();
      database.close();
      rmSync(folder, { recursive: true, force: true });
    },
  };
  running = await start();
  return server;
}
