import { createHash } from "node:crypto";
import { existsSync, readdirSync } from "node:fs";
import { Stryker } from "@stryker-mutator/core";

/**
 * Changes the domain's code in small ways, one at a time, and sees whether the tests of that module turn red. A change that no
 * test sees is a rule that no test states. Prints the share that was seen for each module and every change that was not.
 *
 *   npm run test:mutation                     a sample by today's seed, in about four minutes: none is begun after two
 *   npm run test:mutation -- --all            every change of every module; takes hours
 *   npm run test:mutation -- hopper cold      these modules alone
 *
 * MUTATION_SEED, MUTATION_MOST (changes a module), MUTATION_MINUTES and MUTATION_WORKERS set what they say.
 */

const domain = "server/domain";
const wanted = 0.85;
/** Files right under server/domain and their tests right under test/domain: stories of weeks, too long for a sample. */
const topFiles = "domain";

const args = process.argv.slice(2);
const all = args.includes("--all");
const named = args.filter((arg) => !arg.startsWith("--"));
const seed = process.env.MUTATION_SEED ?? new Date().toISOString().slice(0, 10);
const most = process.env.MUTATION_MOST ?? (all ? "1000000" : "20");
// The plugin lives in processes of its own.
Object.assign(process.env, { MUTATION_SEED: seed, MUTATION_MOST: most });
const minutesMax = all || named.length > 0 ? Number.POSITIVE_INFINITY : Number(process.env.MUTATION_MINUTES ?? 2);

interface Score {
  readonly module: string;
  readonly seen: number;
  readonly unseen: number;
}

function modules(): string[] {
  const folders = readdirSync(domain, { withFileTypes: true }).filter((entry) => entry.isDirectory());
  const tested = folders.map(({ name }) => name).filter((name) => existsSync(`test/${domain.slice(7)}/${name}`));
  const known = [...tested, topFiles];
  const strange = named.filter((name) => !known.includes(name));
  if (strange.length > 0)
    throw new RangeError(`expected modules out of ${known.join(", ")}, got ${strange.join(", ")}`);
  if (named.length > 0) return named;
  return shuffled(known).filter((name) => all || name !== topFiles);
}

/** By the seed, so that each day's sample begins elsewhere. */
function shuffled(names: readonly string[]): string[] {
  const order = (name: string) => createHash("sha256").update(`${seed} ${name}`).digest("hex");
  return [...names].sort((a, b) => (order(a) < order(b) ? -1 : 1));
}

async function scoreOf(module: string): Promise<Score> {
  const below = module === topFiles ? "" : `/${module}`;
  process.env.MUTATION_TESTS = `test/domain${below}/*.test.ts`;
  const results = await new Stryker({
    testRunner: "vitest",
    plugins: ["@stryker-mutator/vitest-runner", "./test/mutation/sample.mjs"],
    checkers: ["sample"],
    mutate: [`${domain}${below}/*.ts`],
    vitest: { configFile: "test/mutation/vitest.config.ts", related: false },
    coverageAnalysis: "perTest",
    concurrency: Number(process.env.MUTATION_WORKERS ?? 2),
    timeoutMS: 20_000,
    reporters: [],
    tempDirName: ".stryker-tmp",
    ignorePatterns: ["/client", "/dist", "/data", "/coverage", "/deploy", "/test/browser", "/test/household"],
    disableTypeChecks: false,
    allowEmpty: true,
    logLevel: "error" as never,
    fileLogLevel: "off" as never,
  } as never).runMutationTest();
  let [seen, unseen] = [0, 0];
  for (const { status, fileName, location, replacement, mutatorName } of results) {
    if (status === "Killed" || status === "Timeout") seen += 1;
    if (status !== "Survived" && status !== "NoCoverage") continue;
    unseen += 1;
    const line = `${fileName.slice(fileName.indexOf(domain))}:${location.start.line}:${location.start.column}`;
    const change = (replacement ?? "").replace(/\s+/g, " ").slice(0, 80);
    console.log(`  ${status === "Survived" ? "unseen" : "no test"}: ${line} ${mutatorName} → ${change}`);
  }
  return { module, seen, unseen };
}

const share = ({ seen, unseen }: Omit<Score, "module">): number => seen / Math.max(1, seen + unseen);

/** The upper end of the 95 % interval of a share by Wilson (1927): below it a sample is worse than by bad luck. */
function atBest(score: Omit<Score, "module">): number {
  const [n, p, z] = [score.seen + score.unseen, share(score), 1.96];
  return n === 0
    ? 1
    : (p + (z * z) / (2 * n) + z * Math.sqrt((p * (1 - p)) / n + (z * z) / (4 * n * n))) / (1 + (z * z) / n);
}

const percent = (value: number) => `${Math.round(1_000 * value) / 10} %`;

const began = performance.now();
const scores: Score[] = [];
const broken: string[] = [];
console.log(`seed ${seed}, ${all ? "all changes" : `at most ${most} changes a module`}`);
for (const module of modules()) {
  if (performance.now() - began > minutesMax * 60_000) break;
  const score = await scoreOf(module).catch((error: unknown) => {
    console.error(`${module}: could not be tried`, error);
    broken.push(module);
    return null;
  });
  if (score === null) continue;
  scores.push(score);
  console.log(`${module}: ${score.seen} of ${score.seen + score.unseen} changes seen, ${percent(share(score))}`);
}
const total = scores.reduce((sum, { seen, unseen }) => ({ seen: sum.seen + seen, unseen: sum.unseen + unseen }), {
  seen: 0,
  unseen: 0,
});
const enough = all ? share(total) >= wanted : atBest(total) >= wanted;
console.log(`together ${percent(share(total))}, wanted ${percent(wanted)}${enough ? "" : ": too few"}`);
process.exitCode = enough && total.seen > 0 && broken.length === 0 ? 0 : 1;
