import { readFile } from "node:fs/promises";
import { createServer, type IncomingMessage } from "node:http";
import type { AddressInfo } from "node:net";
import { extname, join } from "node:path";
import { WebSocketServer } from "ws";
import type { HomeView, LiveMessage, PhonesView } from "../../server/contract/api.ts";
import type { BenchView } from "../../server/contract/benchView.ts";
import type { TrainingView } from "../../server/contract/trainingView.ts";
import { scriptHashes } from "../../server/routes/client.ts";
import { ratesViewFixture } from "../client/alarmRatesFixture.ts";
import { benchViewFixture } from "../client/benchFixture.ts";
import { settingsComparisonFixture } from "../client/comparisonFixture.ts";
import { digestViewFixture } from "../client/digestFixture.ts";
import { historyFixture, portionsViewFixture } from "../client/evidenceFixture.ts";
import { noteFixture, notesViewFixture } from "../client/notesFixture.ts";
import { peopleViewFixture } from "../client/peopleFixture.ts";
import { planViewFixture } from "../client/planFixture.ts";
import { reportViewFixture } from "../client/reportFixture.ts";
import { stillFixture, stillsViewFixture } from "../client/stillsFixture.ts";
import { trainingViewFixture } from "../client/trainingFixture.ts";
import { dayViewFixture, feederViewFixture, homeViewFixture, phonesViewFixture } from "../client/viewFixtures.ts";

/**
 * A server for the built client in place of the real one: prepared views, the real content policy. Run it by
 * itself (`tsx test/browser/fakeServer.ts 4173`) or from a test.
 */
export interface FakeServer {
  readonly origin: string;
  readonly receivedCalls: readonly { readonly method: string; readonly path: string; readonly body: unknown }[];
  signedIn: boolean;
  home: HomeView;
  phones: PhonesView;
  bench: BenchView;
  training: TrainingView;
  /** The folder of the built client; another folder is another build. */
  folder: string;
  /** The response to every request of the API, while it is not null. */
  trouble: ((method: string, path: string) => Trouble | null) | null;
  /** Accepts everything and responds to nothing, as a connection does of which the other end is gone. */
  isUnresponsive: boolean;
  /** All requests with their time in ms of `performance.now()`. */
  readonly requests: readonly { readonly method: string; readonly path: string; readonly at: number }[];
  /** The delay of each response. */
  delayMs: (path: string) => number;
  /** Appended to the worker's code, as a newer build would change it. */
  workerSuffix: string;
  send(message: LiveMessage): void;
  /** Stops listening. */
  stop(): Promise<void>;
  /** Listens again at the same address. */
  start(): Promise<void>;
  close(): Promise<void>;
}

interface Trouble {
  readonly status: number;
  readonly headers?: Record<string, string>;
}

const contentPolicy = (html: string) =>
  `default-src 'self'; img-src 'self'; style-src 'self'; script-src ${["'self'", ...scriptHashes(html)].join(" ")}; object-src 'none'; base-uri 'none'; frame-ancestors 'none'`;
const types: Readonly<Record<string, string>> = {
  ".html": "text/html; charset=utf-8",
  ".js": "text/javascript",
  ".css": "text/css",
  ".svg": "image/svg+xml",
  ".png": "image/png",
  ".webmanifest": "application/manifest+json",
};

export async function startFakeServer(folder: string, port = 0): Promise<FakeServer> {
  const calls: { method: string; path: string; body: unknown }[] = [];
  const requests: { method: string; path: string; at: number }[] = [];
  const fake: { -readonly [key in keyof FakeServer]: FakeServer[key] } = {
    origin: "",
    receivedCalls: calls,
    signedIn: true,
    home: homeViewFixture(Date.now()),
    phones: phonesViewFixture(Date.now()),
    bench: benchViewFixture(Date.now()),
    training: trainingViewFixture(Date.now()),
    folder,
    trouble: null,
    isUnresponsive: false,
    requests,
    delayMs: () => 0,
    workerSuffix: "",
    send: () => {},
    stop: () => Promise.resolve(),
    start: () => Promise.resolve(),
    close: () => Promise.resolve(),
  };

  const responseTo = (
    method: string,
    path: string,
    query: URLSearchParams,
    body: unknown,
  ): readonly [number, unknown] => {
    const feeders = fake.home.yards.flatMap((yard) => yard.feeders);
    const id = path.split("/")[2];
    if (method === "POST" && path === "/session") {
      const { passphrase } = body as { passphrase: string };
      if (passphrase === "wrong") return [401, problem(401, "The name and the passphrase don't belong together.")];
      fake.signedIn = true;
      return [200, { keeper: fake.home.keeper }];
    }
    if (!fake.signedIn) return [401, problem(401, "Sign in first.")];
    if (method === "DELETE" && path === "/session") {
      fake.signedIn = false;
      return [204, null];
    }
    if (path === "/home") return [200, { ...fake.home, serverTime: new Date().toISOString() }];
    if (path.startsWith("/practice")) return [200, fake.home];
    if (path === "/phones") return [200, fake.phones];
    if (path === "/phones/test")
      return [
        200,
        { outcomes: [{ label: "Android phone", outcome: "accepted", text: "Sent. It should appear in a moment." }] },
      ];
    if (path.endsWith("/people")) return [200, peopleViewFixture(Date.now())];
    if (path.endsWith("/invites"))
      return [201, { token: "mQ3kR7wq0Yc3l9VbT5mZx1nHs8uJd2fGa4eLpO6iWxE", expiresAt: inThreeDays() }];
    if (path.startsWith("/notifications/")) return [204, null];
    if (/\/training(\/changes(\/[^/]+\/undo)?)?$/.test(path)) return [200, fake.training];
    if (path.endsWith("/training/report")) return [200, reportViewFixture(Date.now())];
    if (path.endsWith("/alarm-rates")) return [200, ratesViewFixture(Date.now())];
    if (path.endsWith("/stills")) return [200, stillsViewFixture([stillFixture("a", 1), stillFixture("b", 30)], true)];
    if (path.endsWith("/notes"))
      return [
        200,
        notesViewFixture([noteFixture("a", 1), noteFixture("b", 30, { text: "Frost on the lid. ".repeat(9) })], true),
      ];
    if (path.endsWith("/settings/comparison")) return [200, settingsComparisonFixture(Date.now())];
    if (/\/plan(\/preview)?$/.test(path)) return [200, planViewFixture(Date.now())];
    if (path.endsWith("/bench")) return [200, fake.bench];
    if (path.endsWith("/digest")) return [200, digestViewFixture(Date.now())];
    if (method === "POST" && path === "/feeders") {
      const { name } = body as { name: string };
      if (name === "")
        return [
          400,
          {
            ...problem(400, "The feeder could not be added."),
            errors: [{ field: "name", problem: "must not be empty" }],
          },
        ];
      return [
        201,
        {
          feeder: feederViewFixture(Date.now(), { id: "aspen", name, lastReportAt: null, readings: null }),
          key: "kR7wq0Yc3l9VbT5mZx1nHs8uJd2fGa4e",
        },
      ];
    }
    if (path.endsWith("/portions")) return [200, portionsViewFixture(Date.now())];
    if (path.endsWith("/history")) return [200, historyFixture(Date.now(), query)];
    if (path.endsWith("/day")) return [200, dayViewFixture(id ?? "", query.get("date") ?? "2026-11-25")];
    const feeder = feeders.find((each) => each.id === id);
    if (feeder === undefined) return [404, problem(404, "No such feeder.")];
    if (path.endsWith("/key")) return [200, { key: "kR7wq0Yc3l9VbT5mZx1nHs8uJd2fGa4e" }];
    return [200, feeder];
  };

  const server = createServer((request, response) => {
    void (async () => {
      const url = new URL(request.url ?? "/", "http://fake");
      requests.push({ method: request.method ?? "", path: url.pathname, at: performance.now() });
      if (fake.isUnresponsive) return;
      await new Promise((resolve) => setTimeout(resolve, fake.delayMs(url.pathname)));
      if (url.pathname.startsWith("/api/v1")) {
        const path = url.pathname.slice("/api/v1".length);
        const body = await readBody(request);
        if (request.method !== "GET") calls.push({ method: request.method ?? "", path, body });
        const trouble = fake.trouble?.(request.method ?? "GET", path) ?? null;
        if (trouble !== null) {
          const { status, headers } = trouble;
          response.writeHead(status, { "content-type": "application/problem+json", ...headers });
          response.end(JSON.stringify(problem(status, "Something went wrong here.")));
          return;
        }
        const [status, content] = responseTo(request.method ?? "GET", path, url.searchParams, body);
        response.writeHead(status, { "content-type": status >= 400 ? "application/problem+json" : "application/json" });
        response.end(status === 204 ? undefined : JSON.stringify(content));
        return;
      }
      const file = extname(url.pathname) === "" ? "/index.html" : url.pathname;
      try {
        const content = await readFile(join(fake.folder, file));
        const small = file === "/worker.js" ? null : await readFile(join(fake.folder, `${file}.br`)).catch(() => null);
        response.writeHead(200, {
          ...(small === null ? {} : { "content-encoding": "br" }), // each browser of these tests takes it
          "content-type": types[extname(file)] ?? "application/octet-stream",
          "content-security-policy": contentPolicy(file === "/index.html" ? content.toString() : ""),
        });
        if (small !== null) response.end(small);
        else response.end(file === "/worker.js" ? `${content.toString()}${fake.workerSuffix}` : content);
      } catch {
        response.writeHead(404).end();
      }
    })().catch((cause: unknown) => {
      if ((cause as NodeJS.ErrnoException).code !== "ECONNRESET") throw cause;
      response.destroy(); // its page was closed while it was sending: nobody waits for the response
    });
  });
  const listenAt = (at: number) => new Promise<void>((resolve) => server.listen(at, "127.0.0.1", resolve));
  await listenAt(port);
  const taken = (server.address() as AddressInfo).port;
  fake.origin = `http://127.0.0.1:${taken}`;
  const sockets = new WebSocketServer({ server, path: "/api/v1/live" });
  sockets.on("connection", (socket) => {
    requests.push({ method: "GET", path: "/api/v1/live", at: performance.now() });
    socket.on("message", (data) => {
      if (!fake.isUnresponsive && String(data) === '{"kind":"ping"}') socket.send('{"kind":"pong"}');
    });
  });
  fake.send = (message) => {
    for (const socket of sockets.clients) socket.send(JSON.stringify(message));
  };
  fake.stop = () =>
    new Promise((resolve) => {
      for (const socket of sockets.clients) socket.terminate();
      server.closeAllConnections();
      server.close(() => resolve());
    });
  fake.start = () => listenAt(taken);
  fake.close = async () => {
    sockets.close();
    await fake.stop();
  };
  return fake;
}

async function readBody(request: IncomingMessage): Promise<unknown> {
  let text = "";
  for await (const part of request) text += String(part);
  return text === "" ? null : JSON.parse(text);
}

const inThreeDays = () => new Date(Date.now() + 3 * 86_400_000).toISOString();
const problem = (status: number, detail: string) => ({ type: "about:blank", title: "Not so", status, detail });

if (process.argv[1]?.endsWith("fakeServer.ts")) {
  const fake = await startFakeServer("dist/client", Number(process.argv[2] ?? 4173));
  console.log(fake.origin);
}
