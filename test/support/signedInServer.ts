import { expect } from "vitest";
import { type RunningServer, spawnBuiltServer } from "./builtServer.ts";

/** A built server with a keeper, as tests of its files need it. */
export interface SignedInServer {
  readonly server: RunningServer;
  readonly home: string;
  readonly cookie: string;
  readonly feederKey: string;
}

const passphrase = "birds at breakfast";

/** Starts a server on a new folder, signs in for the first time, and adds the feeder Rowan. The caller ends it. */
export async function startSignedInServer(
  dataDir: string,
  variables: Record<string, string> = {},
  { phone }: { readonly phone?: { endpoint: string; p256dh: string; auth: string } } = {},
): Promise<SignedInServer> {
  const server = spawnBuiltServer(dataDir, variables);
  const home = await listenAddress(server);
  const token = (await server.waitForOutput(/first-sign-in#(\S+)\n/))[1];
  const answer = await request(home, "POST", "/api/v1/first-sign-in", {
    token,
    name: "Ada",
    passphrase,
    zone: "Europe/Stockholm",
  });
  expect(answer.status, await answer.clone().text()).toBe(200);
  const cookie = cookieOf(answer);
  const { yards } = (await (await request(home, "GET", "/api/v1/home", undefined, { cookie })).json()) as {
    yards: { id: string }[];
  };
  const yard = yards[0]?.id as string;
  // A test may run at any hour, also when a digest is due.
  await request(home, "PATCH", `/api/v1/yards/${yard}`, { digestWanted: false }, { cookie });
  const added = await request(home, "POST", "/api/v1/feeders", { yard, name: "Rowan" }, { cookie });
  expect(added.status).toBe(201);
  const { key } = (await added.json()) as { key: string };
  if (phone) {
    const { endpoint, p256dh, auth } = phone;
    const saved = await request(home, "POST", "/api/v1/phones", { endpoint, keys: { p256dh, auth } }, { cookie });
    expect(saved.status).toBe(201);
  }
  return { server, home, cookie, feederKey: key };
}

export const listenAddress = async (server: RunningServer): Promise<string> =>
  (await server.waitForOutput(/Pieward listens at (http\S+)\n/))[1] as string;

const cookieOf = (answer: Response): string => String(answer.headers.get("set-cookie")).split(";")[0] as string;

export const request = (
  home: string,
  method: string,
  path: string,
  body?: unknown,
  headers: Record<string, string> = {},
): Promise<Response> =>
  fetch(`${home}${path}`, {
    method,
    headers: { "x-pieward": "1", ...(body === undefined ? {} : { "content-type": "application/json" }), ...headers },
    ...(body === undefined ? {} : { body: JSON.stringify(body) }),
  });

/** Presses of a button, numbered from `from`. */
export const presses = (from: number, count: number) => ({
  boot: "b-1",
  sentUptimeMs: 10_000_000 + from,
  readings: { hopperGrams: 800 },
  events: Array.from({ length: count }, (_, index) => ({
    seq: from + index,
    uptimeMs: 9_000_000 + from + index,
    kind: "press",
  })),
});

export const report = (home: string, key: string, body: unknown): Promise<Response> =>
  request(home, "POST", "/api/v1/report", body, { authorization: `Bearer ${key}` });

export async function stopServer(server: RunningServer, signal: NodeJS.Signals = "SIGTERM"): Promise<void> {
  server.kill(signal);
  await server.exited;
}
