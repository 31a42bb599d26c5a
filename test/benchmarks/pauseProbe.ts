import { once } from "node:events";
import WebSocket from "ws";

/**
 * From the keeper's tap to the feeder's socket, over and over, a pause and a resume in turn, of which only the pause is timed: a resume waits for the
 * disk, since food after a power cut that forgot it would be a surprise. In a process of its own: a phone isn't held up by the reports that the load makes.
 */
export interface PauseProbe {
  readonly address: string;
  readonly cookie: string;
  readonly feeder: { readonly id: string; readonly key: string };
  readonly seconds: number;
}

const pausesMax = 400;

/** @returns milliseconds, in order of size */
async function pauseTimes({ address, cookie, feeder, seconds }: PauseProbe): Promise<number[]> {
  const socket = new WebSocket(`${address.replace("http", "ws")}/api/v1/link`, {
    headers: { authorization: `Bearer ${feeder.key}` },
  });
  await once(socket, "open");
  const times: number[] = [];
  const end = performance.now() + seconds * 1_000;
  for (let index = 0; index < pausesMax && performance.now() < end; index += 1) {
    const arrives = once(socket, "message", { signal: AbortSignal.timeout(10_000) });
    const asked = performance.now();
    const kind = index % 2 === 0 ? "pause" : "resume";
    const body = JSON.stringify({ id: `bench-order-${index}`, kind });
    const headers = { "content-type": "application/json", "x-pieward": "1", cookie };
    const answer = fetch(`${address}/api/v1/feeders/${feeder.id}/orders`, { method: "POST", headers, body });
    const took = arrives.then(() => kind === "pause" && times.push(performance.now() - asked));
    if (!(await answer).ok) throw new Error(`the order answered ${(await answer).status}`);
    await took;
  }
  socket.close();
  return times.sort((a, b) => a - b);
}

process.stdout.write(JSON.stringify(await pauseTimes(JSON.parse(process.argv[2] ?? "") as PauseProbe)));
