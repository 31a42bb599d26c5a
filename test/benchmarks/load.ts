import http from "node:http";

/** One feeder that sends its next report as soon as the last was answered. */
export interface ReportSender {
  readonly key: string;
  readonly bodies: Iterator<string>;
}

export interface LoadResult {
  readonly reportsPerSecond: number;
  readonly p50: number; // milliseconds
  readonly p99: number;
}

/** Loads a server on this machine for so many seconds. @throws Error at the first answer that isn't 200. */
export async function measureLoad(url: string, senders: readonly ReportSender[], seconds: number): Promise<LoadResult> {
  if (!/^http:\/\/(127\.0\.0\.1|localhost|\[::1\])[:/]/.test(url))
    throw new Error(`expected a loopback address, got ${url}`);
  const agent = new http.Agent({ keepAlive: true, maxSockets: senders.length });
  const latencies: number[] = [];
  const start = performance.now();
  const end = start + seconds * 1_000;
  await Promise.all(
    senders.map(async ({ key, bodies }) => {
      while (performance.now() < end) {
        const body = bodies.next().value as string;
        const sent = performance.now();
        await post(agent, url, key, body);
        latencies.push(performance.now() - sent);
      }
    }),
  );
  const took = (performance.now() - start) / 1_000;
  agent.destroy();
  latencies.sort((a, b) => a - b);
  const quantile = (share: number) =>
    latencies[Math.min(latencies.length - 1, Math.floor(share * latencies.length))] ?? 0;
  return { reportsPerSecond: latencies.length / took, p50: quantile(0.5), p99: quantile(0.99) };
}

function post(agent: http.Agent, url: string, key: string, body: string): Promise<void> {
  return new Promise((resolve, reject) => {
    const headers = {
      authorization: `Bearer ${key}`,
      "content-type": "application/json",
      "content-length": Buffer.byteLength(body),
    };
    const request = http.request(url, { method: "POST", agent, headers }, (answer) => {
      let text = "";
      answer.setEncoding("utf8");
      answer.on("data", (chunk: string) => {
        text += chunk;
      });
      answer.on("end", () => {
        if (answer.statusCode === 200) resolve();
        else reject(new Error(`expected 200, got ${answer.statusCode}: ${text}`));
      });
    });
    request.on("error", reject);
    request.end(body);
  });
}

/** Columns padded for reading in a terminal, numbers to the right. */
export function formatTable(head: readonly string[], rows: readonly (readonly string[])[]): string {
  const widths = head.map((title, column) => Math.max(title.length, ...rows.map((row) => row[column]?.length ?? 0)));
  const line = (cells: readonly string[]) => cells.map((cell, column) => cell.padStart(widths[column] ?? 0)).join("  ");
  return [line(head), ...rows.map(line)].join("\n");
}
