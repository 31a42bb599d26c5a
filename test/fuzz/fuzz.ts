import { setFlagsFromString } from "node:v8";
import { runInNewContext } from "node:vm";
import type { FastifyInstance, RouteOptions } from "fastify";
import { onTestFinished } from "vitest";
import { minutes } from "../../server/domain/instant.ts";
import { requestAs } from "../support/people.ts";
import type { TestServer } from "../support/testServer.ts";
import { openTestServerWithRoutes } from "../support/testServerWithRoutes.ts";
import { answerProblem } from "./answers.ts";
import { type FuzzLink, openLink } from "./link.ts";
import { type RandomSource, randomSource } from "./randomSource.ts";
import { type FuzzRequest, fuzzRequest, type Numbering, reportText, routeRequest } from "./requests.ts";

/**
 * Sends malformed requests to the report route, the feeders' link and the keepers' routes, and checks each answer, its time, the
 * memory that stays in use, and that a correct feeder is served as before. `seed` and the number of a case repeat it.
 */
export interface FuzzOptions {
  readonly cases: number;
  readonly seed: number;
  readonly plant?: (app: FastifyInstance) => void;
  readonly answerMilliseconds?: number;
}

export interface FuzzResult {
  readonly problems: readonly string[];
  readonly byEntry: Readonly<Record<string, number>>;
  readonly byStatus: Readonly<Record<string, number>>;
  readonly slowestMilliseconds: number;
  readonly retainedBytes: number; // live memory at the end, above that after the first tenth
}

const batch = 250;
const problemsMax = 20;
/** Far above what an answer takes, also where the machine is busy; a case without an answer is found by it. */
const usualAnswerMilliseconds = 10_000;

type Headers = Readonly<Record<string, string>>;

interface Sender {
  readonly entry: string;
  readonly share: number;
  /** @returns what is wrong, with what was sent. */
  play(
    chance: RandomSource,
  ): Promise<{ readonly wrong: string | null; readonly status: string; readonly sent: string }>;
  /** Before each batch: adds again what a case removed or signed out. */
  renew?(): Promise<void>;
}

export async function runFuzz({
  cases,
  seed,
  plant,
  answerMilliseconds = usualAnswerMilliseconds,
}: FuzzOptions): Promise<FuzzResult> {
  const { server, routes } = await openTestServerWithRoutes(plant);
  // Other tests cover power cuts; here the disk would only cost time.
  server.connections.direct.pragma("synchronous = OFF");
  const senders = await openSenders(server, routes);
  const places = senders.flatMap(({ share }, at) => Array<number>(share).fill(at));
  const feeder = await correctFeeder(server);
  const found = {
    problems: [] as string[],
    byEntry: {} as Record<string, number>,
    byStatus: {} as Record<string, number>,
  };
  let [slowest, retainedAtFirst] = [0, 0];

  const playOne = async (sender: Sender, number: number) => {
    const from = performance.now();
    const played = await inTime(sender.play(randomSource(seed, number)), answerMilliseconds);
    slowest = Math.max(slowest, performance.now() - from);
    found.byEntry[sender.entry] = (found.byEntry[sender.entry] ?? 0) + 1;
    const { wrong, status, sent } = played ?? {
      wrong: `no answer in ${answerMilliseconds} ms`,
      status: "none",
      sent: "",
    };
    found.byStatus[status] = (found.byStatus[status] ?? 0) + 1;
    if (wrong !== null)
      found.problems.push(`seed ${seed}, case ${number}, ${sender.entry}: ${wrong}, to ${sent.slice(0, 600)}`);
  };

  for (let first = 0; first < cases && found.problems.length < problemsMax; first += batch) {
    for (const sender of senders) await sender.renew?.();
    const numbers = Array.from({ length: Math.min(batch, cases - first) }, (_, at) => first + at);
    await Promise.all(
      senders.map(async (sender, at) => {
        for (const number of numbers)
          if (places[randomSource(~seed, number).whole(places.length)] === at) await playOne(sender, number);
      }),
    );
    server.clock.advance(minutes(1));
    const wrong = await feeder();
    if (wrong !== null) found.problems.push(`seed ${seed}, after case ${first + batch}: the correct feeder ${wrong}`);
    if (retainedAtFirst === 0 && first + batch >= cases / 10) retainedAtFirst = liveBytes();
  }
  return { ...found, slowestMilliseconds: slowest, retainedBytes: liveBytes() - retainedAtFirst };
}

async function inTime<T>(work: Promise<T>, milliseconds: number): Promise<T | null> {
  let timer: NodeJS.Timeout | undefined;
  const late = new Promise<null>((resolve) => {
    timer = setTimeout(() => resolve(null), milliseconds);
  });
  try {
    return await Promise.race([work, late]);
  } finally {
    clearTimeout(timer);
  }
}

setFlagsFromString("--expose-gc"); // so that only memory that can't be freed is measured
const collectGarbage = runInNewContext("gc") as () => void;

function liveBytes(): number {
  collectGarbage();
  const { heapUsed, external } = process.memoryUsage();
  return heapUsed + external;
}

// --- the entries -----------------------------------------------------------------------------------------------------

async function openSenders(server: TestServer, routes: readonly RouteOptions[]): Promise<Sender[]> {
  const address = await server.app.listen({ port: 0, host: "127.0.0.1" });
  const senders: Sender[] = [];
  for (let at = 1; at <= 4; at += 1) senders.push(reportSender(server, (await server.addFeeder()).key, at));
  for (let at = 5; at <= 6; at += 1) senders.push(linkSender(openLink(address, (await server.addFeeder()).key), at));
  const open = routes.filter(({ method, url }) => method !== "HEAD" && !/\/(link|live|report)$/.test(url));
  senders.push(await routeSender(server, open), await routeSender(server, open));
  return senders;
}

const numberingOf = (sender: number): Numbering => ({ boot: `boot-${sender}`, seq: 0, uptimeMs: 1_000 });

function reportSender(server: TestServer, key: string, at: number): Sender {
  const numbering = numberingOf(at);
  return {
    entry: "report",
    share: 10,
    play: (chance) =>
      inject(server, fuzzRequest("POST", "/api/v1/report", reportText(numbering, chance), chance), {
        authorization: `Bearer ${key}`,
      }),
  };
}

function linkSender(link: FuzzLink, at: number): Sender {
  onTestFinished(() => link.close());
  const numbering = numberingOf(at);
  return {
    entry: "link",
    share: 10,
    async play(chance) {
      const frame = chance.is(0.001) ? "x".repeat(1_100_000) : reportText(numbering, chance);
      return { wrong: await link.send(frame, chance), status: "link", sent: String(frame) };
    },
  };
}

/** Requests that cost a hash of a passphrase, or a person who must join again, are sent less often. */
const isCostly = ({ url, method }: RouteOptions) =>
  /\/(first-sign-in|sessions?|join|me|passphrase)(\/|$)/.test(url) && (method === "POST" || method === "DELETE");

async function routeSender(server: TestServer, routes: readonly RouteOptions[]): Promise<Sender> {
  const [cheap, costly] = [routes.filter((route) => !isCostly(route)), routes.filter(isCostly)];
  let keeper: Headers | null = null;
  let ids: Headers = {};
  sendersOpened += 1;
  const sender = sendersOpened;
  let [made, asks] = [0, 0];
  const newPerson = async () => {
    made += 1;
    const invite = await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, {
      role: "keeper",
    });
    const payload = {
      token: invite.json().token,
      name: `Bo ${sender} ${made}`,
      passphrase: "nine rooks on a wet gate",
    };
    const address = { remoteAddress: `10.254.${sender}.${made % 256}` };
    const joined = await server.app.inject({ method: "POST", url: "/api/v1/join", payload, ...address });
    if (joined.statusCode !== 200) throw new Error(`expected a person to join, got ${joined.body}`);
    return { cookie: String(joined.headers["set-cookie"]).split(";")[0] ?? "", "x-pieward": "1" };
  };
  /** One of their own, so that the correct feeder's yard can't be deleted. */
  const newYard = async (of: Headers) => {
    made += 1;
    const person = (await requestAs(server, "GET", "/api/v1/me", of)).json().id as string;
    const like = (await server.store.yards.yards()).find(({ id }) => id === server.yard);
    const yard = { ...like, id: `yard-${sender}-${made}`, name: "Alder Croft", practice: false };
    await server.store.yards.addYard(yard as never, person, server.clock.now());
    const added = await requestAs(server, "POST", "/api/v1/feeders", of, { yard: yard.id, name: "Larch" });
    const feeder = added.json().feeder.id as string;
    return { yard: yard.id, feeder, person, fault: "foodLow", item: "none", endpoint: "https://push.example/a" };
  };
  return {
    entry: "keeper's routes",
    share: 20,
    play(chance) {
      const sent = routeRequest(chance.oneOf(chance.is(0.02) ? costly : cheap), ids, chance);
      asks += 1;
      return inject(
        server,
        sent,
        chance.is(0.05) ? {} : (keeper ?? {}),
        `10.${sender % 256}.${(asks >> 8) % 256}.${asks % 256}`,
      );
    },
    async renew() {
      if (keeper === null || (await requestAs(server, "GET", "/api/v1/me", keeper)).statusCode !== 200)
        keeper = await newPerson();
      const feeder =
        ids.feeder === undefined ? null : await requestAs(server, "GET", `/api/v1/feeders/${ids.feeder}`, keeper);
      if (feeder?.statusCode !== 200) ids = await newYard(keeper);
      for (const { id, yard } of (await server.store.yards.feeders()).filter(({ yard }) => yard === ids.yard)) {
        // A page of hundreds of feeders would only cost time.
        if (id !== ids.feeder && yard !== server.yard)
          await requestAs(server, "DELETE", `/api/v1/feeders/${id}`, keeper);
      }
    },
  };
}
let sendersOpened = 0;

async function inject(
  server: TestServer,
  { method, url, headers, body }: FuzzRequest,
  more: object,
  remoteAddress = "10.9.9.9",
) {
  const answer = await server.app.inject({
    method: method as "GET",
    url,
    headers: { ...headers, ...more },
    remoteAddress,
    ...(body === null ? {} : { payload: body }),
  });
  const type = String(answer.headers["content-type"] ?? "");
  const wrong = answerProblem({ status: answer.statusCode, type, text: answer.payload });
  const sent = `${method} ${url} ${JSON.stringify(headers)} ${String(body).slice(0, 400)} (answered: ${answer.payload.slice(0, 200)})`;
  return { wrong, status: String(answer.statusCode), sent };
}

/** A feeder that reports correctly meanwhile. */
async function correctFeeder(server: TestServer): Promise<() => Promise<string | null>> {
  const { feeder, key } = await server.addFeeder({ name: "Rowan" });
  let [seq, uptimeMs] = [0, 0];
  return async () => {
    uptimeMs += 60_000;
    const events = [1, 2, 3].map((more) => ({ seq: seq + more, uptimeMs: uptimeMs - 4_000 + more, kind: "visit" }));
    seq += events.length;
    const { status, body } = await server.report(key, { boot: "boot-correct", sentUptimeMs: uptimeMs, events });
    const result = body as { storedThrough?: number; duplicates?: number; refused?: unknown[] };
    if (status !== 200 || result.storedThrough !== seq || result.duplicates !== 0 || result.refused?.length !== 0) {
      return `was answered ${status} ${JSON.stringify(body)}, not storedThrough ${seq}`;
    }
    const stored = server.connections.direct
      .prepare(
        `SELECT count(*) FROM "Feeder" JOIN "LogLine" ON "feederNo" = "no", json_each("events") WHERE "Feeder"."id" = ?`,
      )
      .pluck()
      .get(feeder.id);
    return stored === seq ? null : `has ${stored} events stored, not ${seq}`;
  };
}
