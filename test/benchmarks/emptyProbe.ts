/**
 * How long an empty request takes at fastify alone under the same load: no pause can be faster on this machine. In a process of its own, as the
 * probe of pauses is.
 */
export interface EmptyProbe {
  readonly url: string;
  readonly seconds: number;
}

/** @returns milliseconds, in order of size */
async function emptyTimes({ url, seconds }: EmptyProbe): Promise<number[]> {
  const times: number[] = [];
  const end = performance.now() + seconds * 1_000;
  while (performance.now() < end) {
    const asked = performance.now();
    const headers = { "content-type": "application/json" };
    const answer = await fetch(url, { method: "POST", headers, body: `{"events":[]}` });
    await answer.text();
    if (!answer.ok) throw new Error(`fastify alone answered ${answer.status}`);
    times.push(performance.now() - asked);
  }
  return times.sort((a, b) => a - b);
}

process.stdout.write(JSON.stringify(await emptyTimes(JSON.parse(process.argv[2] ?? "") as EmptyProbe)));
