import { setTimeout as sleep } from "node:timers/promises";
import type { RunningServer } from "../../support/builtServer.ts";

/** Requests to the built server, as a keeper's browser or a feeder sends them. */
export interface HttpSession {
  /** @throws where the connection breaks before the whole answer is here: then it isn't known what the server did */
  ask(method: string, path: string, body?: object, headers?: Record<string, string>): Promise<HttpAnswer>;
}

export interface HttpAnswer {
  readonly status: number;
  readonly text: string;
  readonly cookie: string;
  // biome-ignore lint/suspicious/noExplicitAny: the tests check what the routes answer
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

/** Asks again while the server answers that it is overloaded. */
export async function retryWhileBusy(ask: () => Promise<HttpAnswer>): Promise<HttpAnswer> {
  for (let tries = 1; ; tries += 1) {
    const answer = await ask();
    if (answer.status !== 503 || tries === 60) return answer;
    await sleep(500);
  }
}

/** @throws where the server answers with anything but 200: no kill can be the reason. */
export async function getJson(session: HttpSession, path: string, headers: Record<string, string> = {}) {
  const answer = await retryWhileBusy(() => session.ask("GET", path, undefined, headers));
  if (answer.status !== 200)
    throw new Error(`expected GET ${path} to be answered, got ${answer.status} ${answer.text}`);
  return answer;
}
