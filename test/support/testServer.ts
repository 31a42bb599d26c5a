import { rmSync } from "node:fs";
import type { FastifyInstance } from "fastify";
import { inject, onTestFinished } from "vitest";
import { createFeederSockets, type FeederSockets } from "../../server/adapters/feederSockets.ts";
import { createGuessEstimator } from "../../server/adapters/guessEstimator.ts";
import { createLiveBrowsers } from "../../server/adapters/liveBrowsers.ts";
import type { MqttBroker } from "../../server/adapters/mqttBroker.ts";
import { createPictureEncoder } from "../../server/adapters/pictureEncoder.ts";
import { noRetainedMessages } from "../../server/adapters/retainedMessages.ts";
import type { LogDisk } from "../../server/adapters/store/durableLog.ts";
import { type Connections, connect } from "../../server/adapters/store/openStore.ts";
import { createStore, type OpenStore } from "../../server/adapters/store/prismaStore.ts";
import { createZipArchives } from "../../server/adapters/zipArchives.ts";
import { buildApp } from "../../server/app.ts";
import type { FeederView } from "../../server/contract/api.ts";
import { after, type Instant, instantOf, type Span } from "../../server/domain/instant.ts";
import type { NotificationContent } from "../../server/domain/notification/content.ts";
import { feederKeys, nonceSecretOf } from "../../server/flows/feederKeys.ts";
import { createPracticeProgramme, type PracticeProgramme } from "../../server/flows/practiceProgramme.ts";
import { rebuildState } from "../../server/flows/pure/rebuildState.ts";
import { openFirstSignIn } from "../../server/flows/signIn.ts";
import type {
  Clock,
  EmailGateway,
  EmailOutcome,
  Phone,
  Ports,
  PracticeRunner,
  PushGateway,
  PushOutcome,
  SettingsComparer,
} from "../../server/ports.ts";
import { inProcessComparer } from "./inProcessComparer.ts";
import { memoryPictureFiles } from "./memoryPictureFiles.ts";
import { copyDatabase } from "./migratedDatabase.ts";

/** A clock that stands still until a test moves it. */
export interface ManualClock extends Clock {
  advance(span: Span): Instant;
}

export function manualClock(start = "2026-01-15T09:00:00Z"): ManualClock {
  let now = instantOf(start);
  return {
    now: () => now,
    advance: (span) => {
      now = after(now, span);
      return now;
    },
  };
}

/** A push service that answers as the test sets it and stores what it is sent. */
export interface FakePush extends PushGateway {
  readonly sent: (Pick<NotificationContent, "title" | "body" | "silent" | "topic"> & {
    readonly phone: Phone;
    readonly item: string;
  })[];
  answer: PushOutcome;
}

/** A mail server that answers as the test sets it and stores what it is sent. */
export interface FakeEmail extends EmailGateway {
  readonly sent: { readonly to: string; readonly subject: string; readonly text: string }[];
  answer: EmailOutcome;
}

function fakeEmail(): FakeEmail {
  const sent: FakeEmail["sent"] = [];
  return {
    isConfigured: true,
    sent,
    answer: { kind: "accepted" },
    async send(to, { subject, text }) {
      sent.push({ to, subject, text });
      return this.answer;
    },
  };
}

function fakePush(): FakePush {
  const sent: FakePush["sent"] = [];
  return {
    publicKey: "B".repeat(87),
    sent,
    answer: { kind: "accepted" },
    async send(phone, _feeder, { title, body, silent, topic }, _now, item) {
      sent.push({ phone, title, body, silent, topic, item });
      return this.answer;
    },
    checkEndpoint: async (endpoint) =>
      endpoint.startsWith("https://") ? { kind: "allowed" } : { kind: "refused", reason: "must be https" },
  };
}

/** One for all, since each reads its lists again. */
const guessEstimator = createGuessEstimator();

const idlePractice: PracticeRunner = {
  start: () => undefined,
  stop: async () => undefined,
  setFault: () => undefined,
  state: () => ({ running: false, fault: "none" }),
};

export interface TestServer {
  readonly app: FastifyInstance;
  readonly ports: Ports;
  readonly programme: PracticeProgramme;
  readonly store: OpenStore;
  readonly connections: Connections;
  readonly databaseFile: string;
  readonly clock: ManualClock;
  readonly push: FakePush;
  readonly email: FakeEmail;
  readonly sockets: FeederSockets;
  /** How often the outbox was notified of a waiting item. */
  readonly outboxSignals: () => number;
  /** Headers of a signed-in keeper. */
  readonly keeper: Record<string, string>;
  readonly yard: string;
  addFeeder(settings?: object): Promise<{ readonly feeder: FeederView; readonly key: string }>;
  report(
    key: string,
    body: object | string,
  ): Promise<{ status: number; body: never; headers: Record<string, unknown> }>;
  runPeriodicCheck(feeder: string): Promise<FeederView>;
  /** From now on its event loop seems to be so many milliseconds late. */
  setEventLoopDelay(milliseconds: number): void;
  /** The lines of its log, where it is opened with `logs`. */
  readonly log: readonly string[];
  /** Ends it and opens another on the same database, with the same clock. */
  restart(): Promise<TestServer>;
  /** Ends it, as it ends by itself with the test. */
  close(): Promise<void>;
}

interface TestServerOptions {
  readonly settingsComparer?: SettingsComparer;
  readonly reportsPerMinute?: number;
  readonly requestTimeoutMilliseconds?: number;
  readonly clientFolder?: string; // a built client; none where a test needs none
  readonly practice?: PracticeRunner;
  /** What stands between the store and its database. */
  readonly around?: (connections: Connections) => Connections;
  /** How commits reach the disk. */
  readonly openDisk?: (databaseFile: string) => LogDisk;
  readonly logs?: boolean;
  readonly trustProxy?: boolean;
  readonly broker?: (clock: Clock) => MqttBroker;
}

/** The whole server on a fresh database, with a clock and a push service that the test controls; closed when the test ends. */
export async function openTestServer(options: TestServerOptions = {}): Promise<TestServer> {
  const { folder, file } = copyDatabase(inject("migratedDatabase"));
  onTestFinished(() => rmSync(folder, { recursive: true, force: true }));
  return openTestServerOn(file, manualClock(), options, null);
}

/** @param signedInAs headers from before a restart; null signs the first keeper in. */
export async function openTestServerOn(
  file: string,
  clock: ManualClock,
  options: TestServerOptions,
  signedInAs: Record<string, string> | null,
): Promise<TestServer> {
  const { around = (plain: Connections) => plain, practice = idlePractice } = options;
  const connections = around(await connect(`file:${file}`, rebuildState, undefined, options.openDisk));
  const store = createStore(connections);
  const [push, email, sockets, browsers] = [fakePush(), fakeEmail(), createFeederSockets(), createLiveBrowsers()];
  const broker = options.broker?.(clock) ?? null;
  const log: string[] = [];
  let outboxSignals = 0;
  const outboxSignal = {
    notify: () => {
      outboxSignals += 1;
    },
  };
  const ports: Ports = {
    clock,
    store,
    push,
    email,
    feederLink: sockets,
    liveFeed: browsers,
    outboxSignal,
    practiceRunner: practice,
    guessEstimator,
    settingsComparer: options.settingsComparer ?? inProcessComparer(file),
    pictureFiles: memoryPictureFiles(clock),
    pictureEncoder: createPictureEncoder(),
    archives: createZipArchives(`${file}-imports`),
    retainedMessages: broker ?? noRetainedMessages,
  };
  const keys = feederKeys(store.yards, nonceSecretOf(file));
  const programme = createPracticeProgramme(ports, keys, 1);
  const app = await buildApp({
    ...{ ports, keys, programme },
    config: {
      reportsPerMinute: options.reportsPerMinute ?? 10_000,
      trustProxy: options.trustProxy ?? false,
      logLevel: options.logs ? "trace" : "silent",
      publicUrl: null,
    },
    requestTimeoutMilliseconds: options.requestTimeoutMilliseconds ?? 20_000,
    sessionKey: "a session key that is only for tests, 32 and more",
    logOutput: { write: (line) => void log.push(line) },
    sockets,
    broker,
    browsers,
    clientFolder: options.clientFolder ?? null,
  });
  const measured = app.memoryUsage;
  const setEventLoopDelay = (milliseconds: number) => {
    app.memoryUsage = () => ({ ...measured(), eventLoopDelay: milliseconds });
  };
  // The test controls this as it controls the clock: a busy machine must not make the server refuse what a test sends.
  setEventLoopDelay(0);

  let closed: Promise<void> | null = null;
  const close = () => {
    closed ??= (async () => {
      sockets.closeAll();
      browsers.closeAll();
      await app.close();
      await store.close();
    })();
    return closed;
  };
  onTestFinished(close);

  const keeper = signedInAs ?? (await signedIn(app, ports));
  const yard = (await store.yards.yards())[0]?.id as string;
  return {
    app,
    ...{ ports, programme },
    store,
    connections,
    databaseFile: file,
    clock,
    push,
    email,
    sockets,
    outboxSignals: () => outboxSignals,
    keeper,
    yard,
    async addFeeder(settings = {}) {
      const payload = { yard, name: "Rowan", ...settings };
      const answer = await app.inject({ method: "POST", url: "/api/v1/feeders", headers: keeper, payload });
      if (answer.statusCode !== 201) throw new Error(`expected a new feeder, got ${answer.body}`);
      return answer.json();
    },
    async report(key, body) {
      const answer = await app.inject({
        method: "POST",
        url: "/api/v1/report",
        headers: { authorization: `Bearer ${key}`, "content-type": "application/json" },
        payload: typeof body === "string" ? body : JSON.stringify(body),
      });
      return { status: answer.statusCode, body: answer.json() as never, headers: answer.headers };
    },
    setEventLoopDelay,
    log,
    async runPeriodicCheck(feeder) {
      return (await app.inject({ url: `/api/v1/feeders/${feeder}`, headers: keeper })).json();
    },
    close,
    async restart() {
      await close();
      return openTestServerOn(file, clock, options, keeper);
    },
  };
}

async function signedIn(app: FastifyInstance, ports: Ports): Promise<Record<string, string>> {
  const token = await openFirstSignIn(ports);
  if (!token) throw new Error("expected an open first sign-in link of a new server");
  const payload = { token, name: "Keeper", passphrase: "birds before breakfast", zone: "Europe/Stockholm" };
  const answer = await app.inject({ method: "POST", url: "/api/v1/first-sign-in", payload });
  if (answer.statusCode !== 200) throw new Error(`expected to be signed in, got ${answer.body}`);
  return { cookie: String(answer.headers["set-cookie"]).split(";")[0] as string, "x-pieward": "1" };
}
