import type { RouteOptions } from "fastify";
import type { Role } from "../../../server/contract/api.ts";
import type { RouteRights } from "./table.ts";
import { type Caller, changedTables, type RightsFixture, type RouteIds } from "./world.ts";

/** Asks every route as everybody, and says what doesn't agree with the table. An empty list is what a test wants. */

type Table = Readonly<Record<string, RouteRights>>;
interface Ask {
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
      .map((route) => `${route} stands in the table, and is no route`),
  ];
}

const rowName = (method: string, url: string) => `${method === "HEAD" ? "GET" : method} ${url}`;

/** Every refusal: status, nothing of the yard in the answer, nothing changed in any table. */
export async function checkRefusals(
  world: RightsFixture,
  table: Table,
): Promise<{ problems: string[]; asked: number }> {
  const problems: string[] = [];
  let asked = 0;
  for (const { method, url } of world.routes) {
    const route = rowName(String(method), url);
    const row = table[route];
    if (row === undefined) continue; // `unknownRoutes` says so
    for (const caller of world.callers) {
      for (const ids of idsFor(world, caller, route, row)) {
        const expected = expectedStatus(caller, row, String(method));
        if (expected === "passes") continue;
        asked += 1;
        problems.push(...(await refusal(world, { route, method: String(method), caller, ids, row }, expected)));
      }
    }
  }
  return { problems, asked };
}

/** Every leave: whoever may do it can, and sees nothing of the other yard. */
export async function checkAllowed(world: RightsFixture, table: Table): Promise<{ problems: string[]; asked: number }> {
  const problems: string[] = [];
  let asked = 0;
  for (const { method, url } of world.routes) {
    const route = rowName(String(method), url);
    const row = table[route];
    if (row === undefined) continue;
    for (const caller of world.callers) {
      // What such a page may not send it can't: a method other than GET and POST needs a leave that we never give.
      if (caller.is === "otherSite" || expectedStatus(caller, row, String(method)) !== "passes") continue;
      asked += 1;
      problems.push(...(await leave(world, { route, method: String(method), caller, ids: world.ours, row })));
    }
  }
  return { problems, asked };
}

function expectedStatus({ is }: Caller, { who, foreign = 404 }: RouteRights, method: string): number | "passes" {
  if (who === "anyone") return "passes";
  if (who === "feeder") return is === "feeder" ? "passes" : 401;
  const reads = method === "GET" || method === "HEAD";
  if (is === "nobody" || is === "feeder") return 401;
  // Such a page can read nothing of the answer: browsers keep it from it (Fetch standard, CORS protocol).
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

async function refusal(world: RightsFixture, ask: Ask, expected: number): Promise<string[]> {
  const before = world.dump();
  const answer = await send(world, ask);
  const changed = changedTables(before, world.dump());
  return [
    ...(answer.status === expected
      ? []
      : [`${nameOf(ask)}: answered ${answer.status}, not ${expected}: ${answer.text}`]),
    ...changed.map((table) => `${nameOf(ask)}: was refused, and ${table} changed`),
    ...(await leaks(world, ask, answer)),
    ...(await tells(world, ask, answer)),
  ];
}

async function leave(world: RightsFixture, { row, ...ask }: Ask): Promise<string[]> {
  const { caller, ids } = await freshFor(world, row, ask);
  const before = world.dump();
  const answer = await send(world, { ...ask, caller, ids, row });
  const fine = row.passes === undefined ? answer.status >= 200 && answer.status < 300 : answer.status === row.passes;
  const changed = answer.status >= 400 ? changedTables(before, world.dump()) : [];
  return [
    ...(fine
      ? []
      : [`${nameOf({ ...ask, row })}: answered ${answer.status}, not ${row.passes ?? "2xx"}: ${answer.text}`]),
    ...changed.map((table) => `${nameOf({ ...ask, row })}: answered ${answer.status}, and ${table} changed`),
    ...(await leaks(world, { ...ask, row }, answer)),
  ];
}

async function freshFor(
  world: RightsFixture,
  { fresh = [] }: RouteRights,
  { caller, ids }: Pick<Ask, "caller" | "ids">,
) {
  const role = typeof caller.is === "object" ? caller.is.role : "helper";
  const needed = (what: NonNullable<RouteRights["fresh"]>[number]) => caller.id !== null && fresh.includes(what);
  const asker = needed("caller") ? { ...caller, ...(await world.newcomer(role)) } : caller;
  const feeder = needed("feeder") ? { feeder: await world.newFeeder() } : {};
  const yard = needed("yard") ? { yard: await world.newYard(asker.headers) } : {};
  const invite = needed("invite") ? { invite: await world.newInvite() } : {};
  const person = needed("self") ? { person: asker.id ?? "" } : {};
  return { caller: asker, ids: { ...ids, ...feeder, ...yard, ...invite, ...person } };
}

interface Answer {
  readonly status: number;
  readonly text: string; // with all headers
}

let addresses = 0;
/** From an address and by a name of its own each time: limits are proved elsewhere. */
async function send(world: RightsFixture, { route, method, caller, ids, row }: Ask): Promise<Answer> {
  addresses += 1;
  const named = { ...ids, somebody: `Somebody ${addresses}` };
  const answer = await world.server.app.inject({
    method: method as "GET",
    url: filled(route.slice(route.indexOf(" ") + 1), named, route),
    headers: caller.headers,
    remoteAddress: `10.2.${addresses >> 8}.${addresses & 255}`,
    ...(row.body === undefined || method === "GET" || method === "HEAD"
      ? {}
      : { payload: JSON.parse(filled(JSON.stringify(row.body), named, route)) as object }),
  });
  const headers = JSON.stringify(answer.headers);
  return { status: answer.statusCode, text: `${answer.payload} ${headers}` };
}

const filled = (text: string, ids: RouteIds, route: string) =>
  text.replace(/(?<=\/):([a-z]\w*)|(?<="):([a-z]\w*)(?=")/gi, (_, inPath?: string, inBody?: string) => {
    const name = inPath ?? inBody ?? "";
    const id = ids[name];
    if (id === undefined) throw new Error(`${route} names :${name}, and world.ts knows no id for it`);
    return id;
  });

/** What somebody may not see, by whose yard they are of. Feeders know their own yard's feeder alone. */
async function leaks({ ourMarks, theirMarks }: RightsFixture, ask: Ask, { text }: Answer): Promise<string[]> {
  const { is } = ask.caller;
  const ofOurs = typeof is === "object" || is === "otherSite";
  const hidden = [...(ofOurs ? [] : ourMarks), ...(is === "keeperElsewhere" ? [] : theirMarks)];
  const own = is === "feeder" ? hidden.filter((mark) => !/^(pause|boot)-/.test(mark)) : hidden; // its order comes back
  return own.filter((mark) => text.includes(mark)).map((mark) => `${nameOf(ask)}: the answer holds ${mark}: ${text}`);
}

/** That something exists at all is its yard's business: an id that nobody has gets the same answer. */
async function tells(world: RightsFixture, ask: Ask, answer: Answer): Promise<string[]> {
  if (ask.caller.is !== "keeperElsewhere" && ask.caller.is !== "signedIn") return [];
  if (answer.status !== 404 && answer.status !== 400) return [];
  const nowhere = {
    ...world.ours,
    yard: "no-yard",
    feeder: "no-feeder",
    person: "no-person",
    endpoint: "https://no.example",
  };
  const other = await send(world, { ...ask, ids: nowhere });
  const body = ({ text }: Answer) => text.slice(0, text.lastIndexOf(" {"));
  return other.status === answer.status && body(other) === body(answer)
    ? []
    : [`${nameOf(ask)}: tells by ${answer.text} that it exists; for no such id it answers ${other.text}`];
}

const nameOf = ({ route, method, caller, ids }: Ask) =>
  `${method === "HEAD" ? "HEAD of " : ""}${route} by ${caller.name} (${ids.yard})`;
