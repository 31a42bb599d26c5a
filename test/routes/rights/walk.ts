import type { RouteOptions } from "fastify";
import type { Role } from "../../../server/contract/api.ts";
import type { RouteRights } from "./table.ts";
import { type Caller, changedTables, type RightsFixture, type RouteIds } from "./world.ts";

/** Requests every route as every caller, and lists what doesn't agree with the table. A test expects an empty list. */

type Table = Readonly<Record<string, RouteRights>>;
interface SentRequest {
  readonly route: string; // as in the table
  readonly method: string;
  readonly caller: Caller;
  readonly ids: RouteIds;
  readonly row: RouteRights;
}

/** HEAD is made by Fastify from each GET, and guarded as it is. The client's own files have no owner. */
export function unknownRoutes(routes: readonly RouteOptions[], table: Table): string[] {
  const found = new Set(routes.map(({ method, url }) => rowName(String(method), url)));
  return [
    ...[...found].filter((route) => table[route] === undefined).map((route) => `${route} has no row in the table`),
    ...Object.keys(table)
      .filter((route) => !found.has(route))
      .map((route) => `${route} is in the table, and is no route`),
  ];
}

const rowName = (method: string, url: string) => `${method === "HEAD" ? "GET" : method} ${url}`;

/** Every refusal: status, nothing of the yard in the answer, nothing changed in any table. */
export async function checkRefusals(
  world: RightsFixture,
  table: Table,
): Promise<{ problems: string[]; requestCount: number }> {
  const problems: string[] = [];
  let requestCount = 0;
  for (const { method, url } of world.routes) {
    const route = rowName(String(method), url);
    const row = table[route];
    if (row === undefined) continue; // `unknownRoutes` lists it
    for (const caller of world.callers) {
      for (const ids of idsFor(world, caller, route, row)) {
        const expected = expectedStatus(caller, row, String(method));
        if (expected === "passes") continue;
        requestCount += 1;
        problems.push(...(await refusal(world, { route, method: String(method), caller, ids, row }, expected)));
      }
    }
  }
  return { problems, requestCount };
}

/** Every permission: those who may do it can, and see nothing of the other yard. */
export async function checkAllowed(
  world: RightsFixture,
  table: Table,
): Promise<{ problems: string[]; requestCount: number }> {
  const problems: string[] = [];
  let requestCount = 0;
  for (const { method, url } of world.routes) {
    const route = rowName(String(method), url);
    const row = table[route];
    if (row === undefined) continue;
    for (const caller of world.callers) {
      // What such a page may not send it can't: a method other than GET and POST needs a permission (CORS) that we never give.
      if (caller.is === "otherSite" || expectedStatus(caller, row, String(method)) !== "passes") continue;
      requestCount += 1;
      problems.push(...(await permission(world, { route, method: String(method), caller, ids: world.ours, row })));
    }
  }
  return { problems, requestCount };
}

function expectedStatus(
  { is }: Caller,
  { who, foreign = 404, exportKeyToo }: RouteRights,
  method: string,
): number | "passes" {
  if (who === "anyone") return "passes";
  if (who === "feeder") return is === "feeder" ? "passes" : 401;
  if (is === "exportKey") return exportKeyToo === true ? "passes" : 401;
  const reads = method === "GET" || method === "HEAD";
  if (is === "nobody" || is === "feeder") return 401;
  // Such a page can read nothing of the answer: browsers hide it (Fetch standard, CORS protocol).
  if (is === "otherSite") return reads ? "passes" : 403;
  if (who === "signedIn") return "passes";
  if (who === "keeperOfAny") return is === "keeperElsewhere" || hasRole(is, ["keeper"]) ? "passes" : 403;
  if (is === "keeperElsewhere" || is === "signedIn") return foreign;
  return hasRole(is, who) ? "passes" : 403;
}

const hasRole = (is: Caller["is"], among: readonly Role[]) => typeof is === "object" && among.includes(is.role);

/** Somebody of another yard also mixes ids: theirs for some, ours for the others. */
function idsFor(world: RightsFixture, caller: Caller, route: string, row: RouteRights): RouteIds[] {
  if (caller.is !== "keeperElsewhere") return [world.ours];
  const first = [...`${route} ${JSON.stringify(row.body ?? {})}`.matchAll(/:(yard|feeder)\b/g)].map(([, name]) => name);
  const whole = first[0];
  return whole === undefined ? [world.ours] : [world.ours, { ...world.theirs, [whole]: world.ours[whole] as string }];
}

async function refusal(world: RightsFixture, request: SentRequest, expected: number): Promise<string[]> {
  const before = world.dump();
  const answer = await send(world, request);
  const changed = changedTables(before, world.dump());
  return [
    ...(answer.status === expected
      ? []
      : [`${nameOf(request)}: answered ${answer.status}, not ${expected}: ${answer.text}`]),
    ...changed.map((table) => `${nameOf(request)}: was refused, and ${table} changed`),
    ...(await leaks(world, request, answer)),
    ...(await existenceLeaks(world, request, answer)),
  ];
}

async function permission(world: RightsFixture, { row, ...request }: SentRequest): Promise<string[]> {
  const { caller, ids } = await freshFor(world, row, request);
  const before = world.dump();
  const answer = await send(world, { ...request, caller, ids, row });
  const fine = row.passes === undefined ? answer.status >= 200 && answer.status < 300 : answer.status === row.passes;
  const changed = answer.status >= 400 ? changedTables(before, world.dump()) : [];
  return [
    ...(fine
      ? []
      : [`${nameOf({ ...request, row })}: answered ${answer.status}, not ${row.passes ?? "2xx"}: ${answer.text}`]),
    ...changed.map((table) => `${nameOf({ ...request, row })}: answered ${answer.status}, and ${table} changed`),
    ...(await leaks(world, { ...request, row }, answer)),
  ];
}

async function freshFor(
  world: RightsFixture,
  { fresh = [] }: RouteRights,
  { caller, ids }: Pick<SentRequest, "caller" | "ids">,
) {
  const role = typeof caller.is === "object" ? caller.is.role : "helper";
  const needsOwn = (what: NonNullable<RouteRights["fresh"]>[number]) => caller.id !== null && fresh.includes(what);
  const sender = needsOwn("caller") ? { ...caller, ...(await world.join(role)) } : caller;
  const feeder = needsOwn("feeder") ? { feeder: await world.newFeeder() } : {};
  const yard = needsOwn("yard") ? { yard: await world.newYard(sender.headers) } : {};
  const invite = needsOwn("invite") ? { invite: await world.newInvite() } : {};
  const person = needsOwn("self") ? { person: sender.id ?? "" } : {};
  return { caller: sender, ids: { ...ids, ...feeder, ...yard, ...invite, ...person } };
}

interface Answer {
  readonly status: number;
  readonly text: string; // with all headers
}

let addresses = 0;
/** From an address and by a name of its own each time: limits are tested elsewhere. */
async function send(world: RightsFixture, { route, method, caller, ids, row }: SentRequest): Promise<Answer> {
  addresses += 1;
  const named = { ...ids, somebody: `Somebody ${addresses}` };
  const answer = await world.server.app.inject({
    method: method as "GET",
    url: withIds(route.slice(route.indexOf(" ") + 1), named, route) + (row.query ?? ""),
    headers: caller.headers,
    remoteAddress: `10.2.${addresses >> 8}.${addresses & 255}`,
    ...(row.body === undefined || method === "GET" || method === "HEAD"
      ? {}
      : { payload: JSON.parse(withIds(JSON.stringify(row.body), named, route)) as object }),
  });
  const headers = JSON.stringify(answer.headers);
  return { status: answer.statusCode, text: `${answer.payload} ${headers}` };
}

const withIds = (text: string, ids: RouteIds, route: string) =>
  text.replace(/(?<=\/):([a-z]\w*)|(?<="):([a-z]\w*)(?=")/gi, (_, inPath?: string, inBody?: string) => {
    const name = inPath ?? inBody ?? "";
    const id = ids[name];
    if (id === undefined) throw new Error(`${route} names :${name}, and world.ts knows no id for it`);
    return id;
  });

/** What a caller may not see, by their yard. Feeders know their own yard's feeder alone. */
async function leaks(
  { ourMarks, theirMarks }: RightsFixture,
  request: SentRequest,
  { text }: Answer,
): Promise<string[]> {
  const { is } = request.caller;
  const ofOurs = typeof is === "object" || is === "otherSite" || is === "exportKey";
  const hidden = [...(ofOurs ? [] : ourMarks), ...(is === "keeperElsewhere" ? [] : theirMarks)];
  const own = is === "feeder" ? hidden.filter((mark) => !/^(pause|boot)-/.test(mark)) : hidden; // its order comes back
  return own
    .filter((mark) => text.includes(mark))
    .map((mark) => `${nameOf(request)}: the answer holds ${mark}: ${text}`);
}

/** Nobody outside a yard may learn that something exists: an unknown id gets the same answer. */
async function existenceLeaks(world: RightsFixture, request: SentRequest, answer: Answer): Promise<string[]> {
  if (request.caller.is !== "keeperElsewhere" && request.caller.is !== "signedIn") return [];
  if (answer.status !== 404 && answer.status !== 400) return [];
  const nowhere = {
    ...world.ours,
    yard: "no-yard",
    feeder: "no-feeder",
    person: "no-person",
    endpoint: "https://no.example",
  };
  const other = await send(world, { ...request, ids: nowhere });
  const body = ({ text }: Answer) => text.slice(0, text.lastIndexOf(" {"));
  return other.status === answer.status && body(other) === body(answer)
    ? []
    : [`${nameOf(request)}: shows by ${answer.text} that it exists; for no such id it answers ${other.text}`];
}

const nameOf = ({ route, method, caller, ids }: SentRequest) =>
  `${method === "HEAD" ? "HEAD of " : ""}${route} by ${caller.name} (${ids.yard})`;
