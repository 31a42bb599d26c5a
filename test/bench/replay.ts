/**
 * `npm run bench:replay`: a feeder's log replayed, a report a minute.
 *
 * Goal: a year in less than 20 s, and memory that doesn't grow with the log. Method: the built replay in a process of its
 * own over generated logs, an easy and a hard one; its time by the clock, its peak memory as the kernel tells it when it ends.
 */
import { spawn } from "node:child_process";
import { once } from "node:events";
import { createWriteStream, mkdtempSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { Readable } from "node:stream";
import { pipeline } from "node:stream/promises";
import { longLog } from "../replay/longLog.ts";

const built = join(import.meta.dirname, "../../dist/server/replay.js");
// The child tells its own peak when it ends: nobody outside can ask it then.
const peak = `process.on("exit", () => process.stderr.write(String(process.resourceUsage().maxRSS)))`;

function* withEnds(lines: Iterable<string>): Generator<string> {
  for (const line of lines) yield `${line}\n`;
}

const folder = mkdtempSync(join(tmpdir(), "pieward-replay-"));
try {
  const file = join(folder, "log.ndjson");
  for (const [name, reports, refillBelowGrams] of [
    ["a quarter", 131_400, 1_200],
    ["a year", 525_600, 1_200],
    ["a year that is often low on food", 525_600, 400], // a standing alarm's words are made anew at each report
  ] as const) {
    await pipeline(Readable.from(withEnds(longLog(reports, refillBelowGrams))), createWriteStream(file));
    const start = performance.now();
    const args = ["--import", `data:text/javascript,${encodeURIComponent(peak)}`, built, file, "--summary"];
    const child = spawn(process.execPath, args, { stdio: ["ignore", "pipe", "pipe"] });
    const heard = { out: "", err: "" };
    child.stdout.on("data", (chunk) => {
      heard.out += chunk;
    });
    child.stderr.on("data", (chunk) => {
      heard.err += chunk;
    });
    const [code] = await once(child, "close");
    const took = (performance.now() - start) / 1_000;
    const megabytes = Math.round(statSync(file).size / 1e6);
    if (code !== 0) throw new Error(`the replay ended with ${code}: ${heard.err}`);
    const perReport = ((took / reports) * 1e6).toFixed(0);
    console.log(
      `${name}, ${reports} reports, ${megabytes} MB: ${took.toFixed(1)} s, ${perReport} µs a report, peak ${Math.round(Number(heard.err) / 1_024)} MB`,
    );
    console.log(`  ${heard.out.trim().split("\n").at(-1)}`);
  }
} finally {
  rmSync(folder, { recursive: true, force: true });
}
