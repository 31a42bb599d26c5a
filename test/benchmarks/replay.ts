/**
 * `npm run bench:replay`: a feeder's log replayed, a report a minute.
 *
 * Goal: a year in less than 20 s, and memory that doesn't grow with the log. Method: the built replay in a process of its
 * own over generated logs, an easy and a hard one; its time by the clock and of the processor (which tells more where others
 * are at work), and its peak memory, as the kernel tells them when it ends.
 */
import { spawn } from "node:child_process";
import { once } from "node:events";
import { createWriteStream, mkdtempSync, rmSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { Readable } from "node:stream";
import { pipeline } from "node:stream/promises";
import { generateLongLog } from "../replay/longLog.ts";

const built = join(import.meta.dirname, "../../dist/server/replay.js");
// The child tells what it used when it ends: nobody outside can ask it then.
const usage = `process.on("exit", () => process.stderr.write(JSON.stringify(process.resourceUsage())))`;

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
    await pipeline(Readable.from(withEnds(generateLongLog(reports, refillBelowGrams))), createWriteStream(file));
    const start = performance.now();
    const args = ["--import", `data:text/javascript,${encodeURIComponent(usage)}`, built, file, "--summary"];
    const child = spawn(process.execPath, args, { stdio: ["ignore", "pipe", "pipe"] });
    const output = { out: "", err: "" };
    child.stdout.on("data", (chunk) => {
      output.out += chunk;
    });
    child.stderr.on("data", (chunk) => {
      output.err += chunk;
    });
    const [code] = await once(child, "close");
    const took = (performance.now() - start) / 1_000;
    const megabytes = Math.round(statSync(file).size / 1e6);
    if (code !== 0) throw new Error(`the replay ended with ${code}: ${output.err}`);
    const perReport = ((took / reports) * 1e6).toFixed(0);
    const used = JSON.parse(output.err) as NodeJS.ResourceUsage;
    const processor = ((used.userCPUTime + used.systemCPUTime) / 1e6).toFixed(1);
    const peak = Math.round(used.maxRSS / 1_024);
    console.log(
      `${name}, ${reports} reports, ${megabytes} MB: ${took.toFixed(1)} s (processor ${processor} s), ${perReport} µs a report, peak ${peak} MB`,
    );
    console.log(`  ${output.out.trim().split("\n").at(-1)}`);
  }
} finally {
  rmSync(folder, { recursive: true, force: true });
}
