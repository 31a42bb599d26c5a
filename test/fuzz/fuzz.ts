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
 * Sends what nobody should send to the report door, the feeders' link and the keepers' routes, and looks at each answer, at the
 * time it took, at the memory that stays, and at whether a true feeder is served as before. `seed` and the number of a case
 * play it again.
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

interface Lane {
  readonly door: string;
  readonly share: number;
  /** @returns what is wrong, with what was sent. */
  play(
    chance: RandomSource,
  ): Promise<{ readonly wrong: string | null; readonly status: string; readonly sent: string }>;
  /** Before each batch: whoever was removed or signed out by a case is there again. */
  renew?(): Promise<void>;
}

export async function runFuzz({
  cases,
  seed,
  plant,
  answerMilliseconds = usualAnswerMilliseconds,
}: FuzzOptions): Promise<FuzzResult> {
  const { server, routes } = await openTestServerWithRoutes(plant);
  // What a power cut leaves is proved elsewhere; here the disk would only cost time.
  server.connections.direct.pragma("synchronous = OFF");
  const lanes = await openLanes(server, routes);
  const places = lanes.flatMap(({ share }, at) => Array<number>(share).fill(at));
  const feeder = await trueFeeder(server);
  const found = {
    problems: [] as string[],
    byEntry: {} as Record<string, number>,
    byStatus: {} as Record<string, number>,
  };
  let [slowest, keptAtFirst] = [0, 0];

  const playOne = async (lane: Lane, number: number) => {
    const from = performance.now();
    const played = await inTime(lane.play(randomSource(seed, number)), answerMilliseconds);
    slowest = Math.max(slowest, performance.now() - from);
    found.byEntry[lane.door] = (found.byEntry[lane.door] ?? 0) + 1;
    const { wrong, status, sent } = played ?? {
      wrong: `no answer in ${answerMilliseconds} ms`,
      status: "none",
      sent: "",
    };
    found.byStatus[status] = (found.byStatus[status] ?? 0) + 1;
    if (wrong !== null)
      found.problems.push(`seed ${seed}, case ${number}, ${lane.door}: ${wrong}, to ${sent.slice(0, 600)}`);
  };

  for (let first = 0; first < cases && found.problems.length < problemsMax; first += batch) {
    for (const lane of lanes) await lane.renew?.();
    const numbers = Array.from({ length: Math.min(batch, cases - first) }, (_, at) => first + at);
    await Promise.all(
      lanes.map(async (lane, at) => {
        for (const number of numbers)
          if (places[randomSource(~seed, number).whole(places.length)] === at) await playOne(lane, number);
      }),
    );
    server.clock.advance(minutes(1));
    const wrong = await feeder();
    if (wrong !== null) found.problems.push(`seed ${seed}, after case ${first + batch}: the true feeder ${wrong}`);
    if (keptAtFirst === 0 && first + batch >= cases / 10) keptAtFirst = liveBytes();
  }
  return { ...found, slowestMilliseconds: slowest, retainedBytes: liveBytes() - keptAtFirst };
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

setFlagsFromString("--expose-gc"); // so that what is measured is what can't be freed
const collectGarbage = runInNewContext("gc") as () => void;

function liveBytes(): number {
  collectGarbage();
  const { heapUsed, external } = process.memoryUsage();
  return heapUsed + external;
}

// --- the doors -------------------------------------------------------------------------------------------------------

async function openLanes(server: TestServer, routes: readonly RouteOptions[]): Promise<Lane[]> {
  const address = await server.app.listen({ port: 0, host: "127.0.0.1" });
  const lanes: Lane[] = [];
  for (let at = 1; at <= 4; at += 1) lanes.push(reportLane(server, (await server.addFeeder()).key, at));
  for (let at = 5; at <= 6; at += 1) lanes.push(linkLane(openLink(address, (await server.addFeeder()).key), at));
  const open = routes.filter(({ method, url }) => method !== "HEAD" && !/\/(link|live|report)$/.test(url));
  lanes.push(await routeLane(server, open), await routeLane(server, open));
  return lanes;
}

const numberingOf = (lane: number): Numbering => ({ boot: `boot-${lane}`, seq: 0, uptimeMs: 1_000 });

function reportLane(server: TestServer, key: string, at: number): Lane {
  const numbering = numberingOf(at);
  return {
    door: "report",
    share: 10,
    play: (chance) =>
      inject(server, fuzzRequest("POST", "/api/v1/report", reportText(numbering, chance), chance), {
        authorization: `Bearer ${key}`,
      }),
  };
}

function linkLane(link: FuzzLink, at: number): Lane {
  onTestFinished(() => link.close());
  const numbering = numberingOf(at);
  return {
    door: "link",
    share: 10,
    async play(chance) {
      const frame = chance.is(0.001) ? "x".repeat(1_100_000) : reportText(numbering, chance);
      return { wrong: await link.send(frame, chance), status: "link", sent: String(frame) };
    },
  };
}

/** What costs a hash of a passphrase, or somebody who must join anew, is asked less often. */
const isCostly = ({ url, method }: RouteOptions) =>
  /\/(first-sign-in|sessions?|join|me|passphrase)(\/|$)/.test(url) && (method === "POST" || method === "DELETE");

async function routeLane(server: TestServer, routes: readonly RouteOptions[]): Promise<Lane> {
  const [cheap, costly] = [routes.filter((route) => !isCostly(route)), routes.filter(isCostly)];
  let keeper: Headers | null = null;
  let ids: Headers = {};
  lanesOpened += 1;
  const lane = lanesOpened;
  let [made, asks] = [0, 0];
  const newcomer = async () => {
    made += 1;
    const invite = await requestAs(server, "POST", `/api/v1/yards/${server.yard}/invites`, server.keeper, {
      role: "keeper",
    });
    const payload = {
      token: invite.json().token,
      name: `Bo ${lane} ${made}`,
      passphrase: "nine rooks on a wet gate",
    };
    const address = { remoteAddress: `10.254.${lane}.${made % 256}` };
    const joined = await server.app.inject({ method: "POST", url: "/api/v1/join", payload, ...address });
    if (joined.statusCode !== 200) throw new Error(`expected somebody to join, got ${joined.body}`);
    return { cookie: String(joined.headers["set-cookie"]).split(";")[0] ?? "", "x-pieward": "1" };
  };
  /** One of their own, so that the true feeder's yard can't be deleted. */
  const newYard = async (of: Headers) => {
    made += 1;
    const person = (await requestAs(server, "GET", "/api/v1/me", of)).json().id as string;
    const like = (await server.store.yards.yards()).find(({ id }) => id === server.yard);
    const yard = { ...like, id: `yard-${lane}-${made}`, name: "Alder Croft", practice: false };
    await server.store.yards.addYard(yard as never, person, server.clock.now());
    const added = await requestAs(server, "POST", "/api/v1/feeders", of, { yard: yard.id, name: "Larch" });
    const feeder = added.json().feeder.id as string;
    return { yard: yard.id, feeder, person, fault: "foodLow", item: "none", endpoint: "https://push.example/a" };
  };
  return {
    door: "keeper's routes",
    share: 20,
    play(chance) {
      const sent = routeRequest(chance.oneOf(chance.is(0.02) ? costly : cheap), ids, chance);
      asks += 1;
      return inject(
        server,
        sent,
        chance.is(0.05) ? {} : (keeper ?? {}),
        `10.${lane % 256}.${(asks >> 8) % 256}.${asks % 256}`,
      );
    },
    async renew() {
      if (keeper === null || (await requestAs(server, "GET", "/api/v1/me", keeper)).statusCode !== 200)
        keeper = await newcomer();
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
let lanesOpened = 0;

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

/** A feeder that does all right, in the midst of it. */
async function trueFeeder(server: TestServer): Promise<() => Promise<string | null>> {
  const { feeder, key } = await server.addFeeder({ name: "Rowan" });
  let [seq, uptimeMs] = [0, 0];
  return async () => {
    uptimeMs += 60_000;
    const events = [1, 2, 3].map((more) => ({ seq: seq + more, uptimeMs: uptimeMs - 4_000 + more, kind: "visit" }));
    seq += events.length;
    const { status, body } = await server.report(key, { boot: "boot-true", sentUptimeMs: uptimeMs, events });
    const said = body as { storedThrough?: number; duplicates?: number; refused?: unknown[] };
    if (status !== 200 || said.storedThrough !== seq || said.duplicates !== 0 || said.refused?.length !== 0) {
      return `was answered ${status} ${JSON.stringify(body)}, not storedThrough ${seq}`;
    }
    const stored = server.connections.direct
      .prepare("SELECT count(*) FROM Event WHERE feederId = ?")
      .pluck()
      .get(feeder.id);
    return stored === seq ? null : `has ${stored} events stored, not ${seq}`;
  };
}
