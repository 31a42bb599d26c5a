import { spawn } from "node:child_process";
import { availableParallelism } from "node:os";
import { createInterface } from "node:readline";
import { parseArgs } from "node:util";
import { formatWinterTables } from "./tables.ts";
import { simulateWinter } from "./winter.ts";
import type { WinterFigures } from "./winterCounter.ts";

/**
 * `npm run winters`: how quiet the alarms are, over fifty winters of a yard with ten feeders that break, and a household that is
 * notified of it by the server's own rules. Some twenty minutes on two cores, a process for each; `--share 0.1` simulates a tenth of the
 * winters, `--from` begins at another seed.
 */
const wintersInAll = 50;

const { values } = parseArgs({
  options: {
    from: { type: "string", default: "20001" },
    share: { type: "string", default: "1" },
    only: { type: "string" }, // of a child: its seeds, printed as JSON line by line
  },
});
const share = Number(values.share);
const from = Number(values.from);

if (values.only !== undefined) {
  for (const seed of values.only.split(",").map(Number))
    console.log(JSON.stringify(simulateWinter({ seed }).figures()));
} else if (!(share > 0 && share <= 1) || !Number.isInteger(from)) {
  console.error("npm run winters -- [--share 0.1] [--from 20001]");
  process.exitCode = 2;
} else {
  await liveAll(Array.from({ length: Math.max(1, Math.round(wintersInAll * share)) }, (_, index) => from + index));
}

async function liveAll(seeds: readonly number[]): Promise<void> {
  const begun = process.hrtime.bigint();
  const cores = Math.min(availableParallelism(), seeds.length);
  const shares = Array.from({ length: cores }, (_, core) => seeds.filter((_seed, index) => index % cores === core));
  const winters = (await Promise.all(shares.map(liveSome))).flat();
  if (winters.length < seeds.length) throw new Error(`expected ${seeds.length} winters, got ${winters.length}`);
  console.log(formatWinterTables(winters));
  const took = Math.round(Number(process.hrtime.bigint() - begun) / 1e9);
  console.log(`(${seeds.length} winters, seeds from ${from}, a report each five minutes, ${took} s)`);
}

async function liveSome(seeds: readonly number[]): Promise<WinterFigures[]> {
  const again = [...process.execArgv, import.meta.filename, "--only", seeds.join(",")];
  const child = spawn(process.execPath, again, { stdio: ["ignore", "pipe", "inherit"] });
  const winters: WinterFigures[] = [];
  for await (const line of createInterface({ input: child.stdout })) winters.push(JSON.parse(line) as WinterFigures);
  return winters;
}
