import { gzipSync } from "node:zlib";
import type { RouteOptions } from "fastify";
import { reportSchema } from "../../server/contract/report.ts";
import { type Grammar, generateValue, schemaGrammar } from "./grammar.ts";
import { mutateText, mutateValue, oddIds, wrongTypes } from "./mutate.ts";
import type { RandomSource } from "./randomSource.ts";

/** One case: what is sent. Most of it is malformed. */
export interface FuzzRequest {
  readonly method: string;
  readonly url: string;
  readonly headers: Readonly<Record<string, string>>;
  readonly body: string | Buffer | null;
}

export interface Numbering {
  readonly boot: string;
  seq: number;
  uptimeMs: number;
}

const reports = schemaGrammar(reportSchema) as Grammar;

/** A report by the grammar, mostly with consecutive numbers, so that many are stored. */
export function reportText(numbering: Numbering, chance: RandomSource): string | Buffer {
  const report = generateValue(reports, chance) as Record<string, unknown>;
  if (chance.is(0.8)) continueNumbers(report, numbering, chance);
  let sent: unknown = report;
  if (chance.is(0.65)) for (let times = 1 + chance.whole(3); times > 0; times -= 1) sent = mutateValue(sent, chance);
  return written(sent, chance);
}

function continueNumbers(report: Record<string, unknown>, numbering: Numbering, chance: RandomSource): void {
  const events = Array.isArray(report.events) ? (report.events as Record<string, unknown>[]) : [];
  for (const event of events) {
    numbering.seq += 1;
    numbering.uptimeMs += 1 + chance.whole(1_000);
    Object.assign(event, { seq: numbering.seq, uptimeMs: numbering.uptimeMs });
  }
  Object.assign(report, { boot: numbering.boot, sentUptimeMs: numbering.uptimeMs, events });
}

/** JSON leaves out `undefined`, and has one form for a lone surrogate. */
function written(value: unknown, chance: RandomSource): string | Buffer {
  const text = JSON.stringify(value) ?? "";
  return chance.is(0.2) ? mutateText(text, chance) : text;
}

const bombs = [gzipSync(Buffer.alloc(48 * 2 ** 20, 0x20)), gzipSync(`{"boot":"${"a".repeat(24 * 2 ** 20)}"}`)] as const;

/** How it is sent: mostly as it should be. */
export function fuzzRequest(
  method: string,
  url: string,
  body: string | Buffer | null,
  chance: RandomSource,
): FuzzRequest {
  const as = (headers: Record<string, string>, what: string | Buffer | null): FuzzRequest => ({
    method,
    url,
    headers,
    body: what,
  });
  const json = { "content-type": "application/json" };
  if (body === null) return as({}, null);
  switch (chance.whole(40)) {
    case 0:
      return as({ "content-type": chance.oneOf(wrongTypes) }, body);
    case 1:
      return as({}, body);
    case 2:
      return as({ ...json, "content-encoding": "gzip" }, gzipSync(body));
    case 3:
      return as({ ...json, "content-encoding": chance.oneOf(["gzip", "br", "deflate", "zstd", "x"]) }, body);
    case 4:
      return chance.is(0.2) ? as({ ...json, "content-encoding": "gzip" }, chance.oneOf(bombs)) : as(json, null);
    default:
      return as(json, body);
  }
}

/** A request to a route by its own schemas, then damaged. @param ids what its parameters may be */
export function routeRequest(
  route: RouteOptions,
  ids: Readonly<Record<string, string>>,
  chance: RandomSource,
): FuzzRequest {
  const { body, querystring } = (route.schema ?? {}) as { readonly body?: unknown; readonly querystring?: unknown };
  const path = route.url.replace(/:(\w+)|\*/g, (_, name: string | undefined) =>
    chance.is(0.8) ? (ids[name ?? ""] ?? "nothing") : chance.oneOf(oddIds),
  );
  const url = path + queryOf(schemaGrammar(querystring), chance);
  const grammar = schemaGrammar(body);
  if (grammar === null)
    return fuzzRequest(
      String(route.method),
      url,
      chance.is(0.8) ? null : written(mutateValue({}, chance), chance),
      chance,
    );
  let sent = generateValue(grammar, chance);
  const fields = (typeof sent === "object" && sent !== null ? sent : {}) as Record<string, unknown>;
  for (const [name, id] of Object.entries(ids))
    if (typeof fields[name] === "string" && chance.is(0.8)) fields[name] = id;
  if (chance.is(0.75)) for (let times = 1 + chance.whole(3); times > 0; times -= 1) sent = mutateValue(sent, chance);
  return fuzzRequest(String(route.method), url, written(sent, chance), chance);
}

function queryOf(grammar: Grammar | null, chance: RandomSource): string {
  if (grammar === null) return chance.is(0.95) ? "" : chance.oneOf(["?", "?a=1&a=2", "?__proto__[x]=1", "?%00=%ff"]);
  const query = generateValue(grammar, chance) as Record<string, unknown>;
  const pairs = Object.entries((chance.is(0.5) ? mutateValue(query, chance) : query) ?? {});
  // A lone surrogate can't be written in a URL: UTF-8 has another character in its place.
  const safe = (value: unknown) => encodeURIComponent(Buffer.from(String(value ?? "").slice(0, 2_000)).toString());
  return pairs.length === 0
    ? ""
    : `?${pairs.map(([name, value]) => `${safe(name)}=${safe(isPlain(value) ? value : JSON.stringify(value))}`).join("&")}`;
}
const isPlain = (value: unknown) => typeof value !== "object" || value === null;
