import { createHmac } from "node:crypto";
import { readFileSync } from "node:fs";
import http from "node:http";
import { hashOf } from "../../server/flows/feederKeys.ts";

/** Loads a server on this machine, bounded in time and in connections. The name of each flood's function says what it sends. */

export interface ConnectionFlood {
  readonly name: string;
  readonly connections: number;
  /** One request. Resolves when it is over, whatever its result. */
  once(agent: http.Agent, number: number): Promise<number | null>;
}

/** Runs these floods together for so long. @returns how often each status came, by flood; 0 for a connection that broke. */
export async function runFloods(
  floods: readonly ConnectionFlood[],
  milliseconds: number,
): Promise<Record<string, Record<number, number>>> {
  const end = performance.now() + milliseconds;
  const counts: Record<string, Record<number, number>> = {};
  await Promise.all(
    floods.map(async ({ name, connections, once }) => {
      const agent = new http.Agent({ keepAlive: true, maxSockets: connections });
      const count: Record<number, number> = {};
      counts[name] = count;
      let number = 0;
      await Promise.all(
        Array.from({ length: connections }, async () => {
          while (performance.now() < end) {
            number += 1;
            const status = (await once(agent, number)) ?? 0;
            count[status] = (count[status] ?? 0) + 1;
            if (status === 0 || status >= 429) await new Promise((resolve) => setTimeout(resolve, 20));
          }
        }),
      );
      agent.destroy();
    }),
  );
  return counts;
}

export interface FloodRequest {
  readonly method?: string;
  readonly path: string;
  readonly headers?: Record<string, string>;
  readonly body?: Buffer | string;
}

const patienceMilliseconds = 20_000;

/** @returns the status; null where the connection broke or no answer came in time */
export function sendRequest(
  url: string,
  agent: http.Agent,
  { method = "POST", path, headers = {}, body }: FloodRequest,
) {
  const length = body === undefined ? {} : { "content-length": String(Buffer.byteLength(body)) };
  return new Promise<number | null>((resolve) => {
    const request = http.request(`${url}${path}`, { method, agent, headers: { ...headers, ...length } }, (answer) => {
      answer.on("end", () => resolve(answer.statusCode ?? null));
      answer.on("error", () => resolve(null));
      answer.resume();
    });
    request.on("error", () => resolve(null));
    request.setTimeout(patienceMilliseconds, () => request.destroy());
    request.end(body);
  });
}

/** Sends all but the last byte of a body, and then nothing: the server has to hold what was sent. */
export function sendSlowly(
  url: string,
  agent: http.Agent,
  headers: Record<string, string>,
  body: Buffer,
  holdMilliseconds: number,
) {
  return new Promise<number | null>((resolve) => {
    const length = { "content-length": String(body.length), "content-type": "application/json" };
    const request = http.request(`${url}/api/v1/report`, { method: "POST", agent, headers: { ...headers, ...length } });
    const over = setTimeout(() => request.destroy(), holdMilliseconds);
    request.on("response", (answer) => {
      answer.resume();
      answer.on("end", () => done(answer.statusCode ?? null));
    });
    request.on("error", () => done(null));
    const done = (status: number | null) => {
      clearTimeout(over);
      request.destroy();
      resolve(status);
    };
    request.write(body.subarray(0, body.length - 1));
  });
}

/** A report of the greatest size, whose events are all new for this boot and number. */
export function fullReport(boot: string, number: number): Buffer {
  const events = Array.from({ length: 2_000 }, (_, index) => {
    const about = { seq: number * 2_000 + index + 1, uptimeMs: 1_000 + index, kind: "note", text: "x".repeat(400) };
    return about;
  });
  return Buffer.from(JSON.stringify({ boot, sentUptimeMs: 5_000_000 + number * 10, readings: {}, events }));
}

export function signReport(key: string, feeder: string, body: Buffer, now = Date.now()): string {
  const time = String(Math.floor(now / 1_000));
  const mac = createHmac("sha256", hashOf(key)).update(`${time}\n`).update(body).digest("base64url");
  return `Signature feeder="${feeder}", time="${time}", mac="${mac}"`;
}

/** What this process holds in memory now and holdMilliseconds at most, in MiB (proc(5), VmRSS and VmHWM). */
export function memoryUse(pid: number): { readonly now: number; readonly most: number } {
  const status = readFileSync(`/proc/${pid}/status`, "utf8");
  const of = (name: string) => Math.round(Number(new RegExp(`${name}:\\s+(\\d+) kB`).exec(status)?.[1]) / 1_024);
  return { now: of("VmRSS"), most: of("VmHWM") };
}
