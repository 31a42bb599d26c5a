import { parseArgs } from "node:util";
import { judgeDiagnosis } from "./diagnosisMatrix.ts";
import { judgeHopper } from "./hopperCoverage.ts";
import { judgeQuiet } from "./quietYear.ts";
import { judgeRunOut } from "./runOutCalibration.ts";
import { judgeSilence } from "./silenceDelay.ts";

/**
 * `npm run judge`: every detector over seeded streams with planted faults, beside the best that can be done. Prints tables. Seeds
 * from 10,001 on were never used for choosing anything in the domain; `--tuning` takes those that were.
 */
const parts = {
  hopper: (seeds: (count: number) => number[]) => judgeHopper(seeds(200)),
  runOut: (seeds: (count: number) => number[]) => judgeRunOut(seeds(60)),
  diagnosis: (seeds: (count: number) => number[]) => judgeDiagnosis(seeds(120)),
  silence: (seeds: (count: number) => number[]) => judgeSilence(seeds(40)),
  quiet: (seeds: (count: number) => number[]) => judgeQuiet(seeds(12)),
};
type Part = keyof typeof parts;
const isPart = (word: string): word is Part => Object.hasOwn(parts, word);

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: { tuning: { type: "boolean" }, share: { type: "string", default: "1" } },
});
const unknown = positionals.filter((word) => !isPart(word));
const share = Number(values.share);
if (unknown.length > 0 || !(share > 0 && share <= 1)) {
  console.error(`npm run judge -- [${Object.keys(parts).join(" | ")}]... [--share 0.1] [--tuning]`);
  process.exitCode = 2;
} else {
  const first = values.tuning === true ? 1 : 10_001;
  const seeds = (count: number) => Array.from({ length: Math.max(1, Math.round(count * share)) }, (_, i) => first + i);
  for (const [name, judge] of Object.entries(parts)) {
    if (positionals.length > 0 && !positionals.includes(name)) continue;
    const begun = process.hrtime.bigint();
    console.log(judge(seeds));
    console.log(`(${name}: ${Math.round(Number(process.hrtime.bigint() - begun) / 1e9)} s)\n`);
  }
}
