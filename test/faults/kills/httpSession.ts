import { setTimeout as sleep } from "node:timers/promises";
import type { RunningServer } from "../../support/builtServer.ts";

/** The built server as a keeper's browser or a feeder meets it. */
export interface HttpSession {
  /** @throws where the connection breaks before the whole answer is here: nobody knows then what became of it */
  ask(method: string, path: string, body?: object, headers?: Record<string, string>): Promise<HttpAnswer>;
}

export interface HttpAnswer {
  readonly status: number;
  readonly text: string;
  readonly cookie: string;
  // biome-ignore lint/suspicious/noExplicitAny: what routes answer is judged, not trusted
  json(): any;
}

export async function openSession(server: RunningServer, cookie = ""): Promise<HttpSession> {
  const home = (await server.waitForOutput(/Pieward listens at (http\S+)\n/))[1] as string;
  return {
    async ask(method, path, body, headers = {}) {
      const answer = await fetch(`${home}${path}`, {
        method,
        headers: {
          "x-pieward": "1",
          cookie,
          ...(body ? { "content-type": "application/json" } : {}),
          ...headers,
        },
        ...(body ? { body: JSON.stringify(body) } : {}),
      });
      const text = await answer.text();
      return {
        status: answer.status,
        text,
        cookie: String(answer.headers.get("set-cookie")).split(";")[0] as string,
        json: () => JSON.parse(text),
      };
    },
  };
}

/** A server that is overloaded says so, and is asked again. */
export async function retryWhileBusy(ask: () => Promise<HttpAnswer>): Promise<HttpAnswer> {
  for (let tries = 1; ; tries += 1) {
    const answer = await ask();
    if (answer.status !== 503 || tries === 60) return answer;
    await sleep(500);
  }
}

/** @throws where the server answers, and not with what was asked for: then it is no kill that is to blame. */
export async function getJson(visiting: HttpSession, path: string, headers: Record<string, string> = {}) {
  const answer = await retryWhileBusy(() => visiting.ask("GET", path, undefined, headers));
  if (answer.status !== 200)
    throw new Error(`expected GET ${path} to be answered, got ${answer.status} ${answer.text}`);
  return answer;
}
