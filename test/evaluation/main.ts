import { spawn } from "node:child_process";
import { availableParallelism } from "node:os";
import { text } from "node:stream/consumers";
import { parseArgs } from "node:util";
import { evaluateDiagnosis } from "./diagnosisMatrix.ts";
import { evaluateHopper } from "./hopperCoverage.ts";
import { evaluateQuietYear } from "./quietYear.ts";
import type { EvaluationResult } from "./report.ts";
import { evaluateRunOut } from "./runOutCalibration.ts";
import { evaluateSilenceDelay } from "./silenceDelay.ts";

/**
 * `npm run judge:simulator`: every detector over seeded streams with planted faults, beside the best that can be done. Prints tables. Seeds
 * from 20,001 on were never used for choosing anything in the domain, those below 10,000 were. Some ten minutes on two cores,
 * since each part has a process of its own; `--share 0.1` judges a tenth of the seeds, `--from` begins at another.
 */
const parts: Readonly<
  Record<string, { readonly seeds: number; readonly judge: (seeds: readonly number[]) => EvaluationResult }>
> = {
  hopper: { seeds: 200, judge: evaluateHopper },
  runOut: { seeds: 60, judge: evaluateRunOut },
  diagnosis: { seeds: 120, judge: evaluateDiagnosis },
  silence: { seeds: 40, judge: evaluateSilenceDelay },
  quiet: { seeds: 12, judge: evaluateQuietYear },
};

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: { from: { type: "string", default: "20001" }, share: { type: "string", default: "1" } },
});
const wanted = positionals.length > 0 ? positionals : Object.keys(parts);
const share = Number(values.share);
const from = Number(values.from);

if (wanted.some((name) => !Object.hasOwn(parts, name)) || !(share > 0 && share <= 1) || !Number.isInteger(from)) {
  console.error(`npm run judge:simulator -- [${Object.keys(parts).join(" | ")}]... [--share 0.1] [--from 20001]`);
  process.exitCode = 2;
} else if (wanted.length === 1) {
  judgeOne(wanted[0] ?? "");
} else {
  await judgeEach(wanted);
}

function judgeOne(name: string): void {
  const part = parts[name];
  if (part === undefined) return;
  const begun = process.hrtime.bigint();
  const seeds = Array.from({ length: Math.max(1, Math.round(part.seeds * share)) }, (_, index) => from + index);
  console.log(part.judge(seeds).tables);
  console.log(
    `(${name}: ${seeds.length} seeds from ${from}, ${Math.round(Number(process.hrtime.bigint() - begun) / 1e9)} s)\n`,
  );
}

/** As many at once as there are cores, printed in the order requested. */
async function judgeEach(names: readonly string[]): Promise<void> {
  const rest = [...names];
  const outputs = new Map<string, string>();
  const worker = async () => {
    for (let name = rest.shift(); name !== undefined; name = rest.shift()) {
      const again = [...process.execArgv, import.meta.filename, name, "--share", String(share), "--from", String(from)];
      const child = spawn(process.execPath, again, { stdio: ["ignore", "pipe", "inherit"] });
      const ended = new Promise<number | null>((resolve, reject) => {
        child.once("error", reject);
        child.once("close", resolve);
      });
      outputs.set(name, await text(child.stdout));
      if ((await ended) !== 0) process.exitCode = 1;
    }
  };
  await Promise.all(Array.from({ length: Math.min(availableParallelism(), names.length) }, worker));
  for (const name of names) console.log(outputs.get(name));
}
