import { createHash } from "node:crypto";
import { existsSync, readdirSync, rmSync } from "node:fs";
import { parseArgs } from "node:util";
import { Stryker } from "@stryker-mutator/core";
import { atBest, type Score, share } from "./score.ts";

/**
 * Changes the domain's code in small ways, one at a time, and sees whether the tests of that module fail. A change (a mutant) that
 * no test detects is a rule that no test states. Prints the score of each module and names every surviving mutant.
 *
 *   npm run test:mutation                     a sample by today's seed, within five minutes on two cores
 *   npm run test:mutation -- --all            every mutant of every module; takes hours
 *   npm run test:mutation -- hopper cold      these modules alone, without a limit of time
 *   npm run test:mutation -- --seed 7 --mutants 40 --minutes 10 --workers 1
 *
 * Only server/domain is changed: sentences are in server/text, where other tests read them whole. Flows are left out, since most of
 * their rules are tested through HTTP with a database, which takes too long for each mutant.
 * Fails if the score is below what is wanted: of all mutants at once, of a sample when it can't be bad luck any more.
 */

const domain = "server/domain";
const scoreWanted = 0.85;
/** Files right under server/domain and their tests right under test/domain: stories of weeks, too long for a sample. */
const topFiles = "domain";

const { values: options, positionals: chosenModules } = parseArgs({
  allowPositionals: true,
  options: {
    all: { type: "boolean", default: false },
    seed: { type: "string", default: new Date().toISOString().slice(0, 10) },
    /** At most so many mutants a module. */
    mutants: { type: "string", default: "10" },
    /** No module is begun after so many minutes; the last one needs up to a minute and a half more. */
    minutes: { type: "string", default: "2.5" },
    workers: { type: "string", default: "2" },
  },
});
const { all, seed } = options;
const mutantsMax = all ? Number.POSITIVE_INFINITY : positive("mutants");
const minutesMax = all || chosenModules.length > 0 ? Number.POSITIVE_INFINITY : positive("minutes");
const workers = positive("workers");

function positive(name: "mutants" | "minutes" | "workers"): number {
  const value = Number(options[name]);
  if (!(value > 0)) throw new RangeError(`expected a number over 0 for --${name}, got ${options[name]}`);
  return value;
}

function modules(): string[] {
  const folders = readdirSync(domain, { withFileTypes: true }).filter((entry) => entry.isDirectory());
  const tested = folders.map(({ name }) => name).filter((name) => existsSync(`test/domain/${name}`));
  const known = [...tested, topFiles];
  const unknown = chosenModules.filter((name) => !known.includes(name));
  if (unknown.length > 0)
    throw new RangeError(`expected modules out of ${known.join(", ")}, got ${unknown.join(", ")}`);
  if (chosenModules.length > 0) return chosenModules;
  return shuffled(known).filter((name) => all || name !== topFiles);
}

/** By the seed, so that each day's sample begins with another module. */
function shuffled(names: readonly string[]): string[] {
  const order = (name: string) => createHash("sha256").update(`${seed} ${name}`).digest("hex");
  return [...names].sort((a, b) => (order(a) < order(b) ? -1 : 1));
}

async function scoreOf(module: string): Promise<Score> {
  const folder = module === topFiles ? "" : `/${module}`;
  // Stryker's checkers and test runners are processes of their own: they get the choice by the environment.
  Object.assign(process.env, {
    MUTATION_ALL: String(all),
    MUTATION_SEED: seed,
    MUTATION_MOST: String(mutantsMax),
    MUTATION_TESTS: `test/domain${folder}/*.test.ts`,
  });
  const results = await new Stryker({
    testRunner: "vitest",
    plugins: ["@stryker-mutator/vitest-runner", "./test/mutation/sample.mjs"],
    checkers: ["sample"],
    mutate: [`${domain}${folder}/*.ts`],
    vitest: { configFile: "test/mutation/vitest.config.ts", related: false },
    coverageAnalysis: "perTest",
    concurrency: workers,
    timeoutMS: 20_000,
    reporters: [],
    tempDirName: ".stryker-tmp",
    // Nothing that a test reads: a test file that fails as it loads would only count as no test.
    ignorePatterns: ["/dist", "/data", "/coverage"],
    disableTypeChecks: false,
    logLevel: "error" as never,
    fileLogLevel: "off" as never,
  } as never).runMutationTest();
  let [killed, timedOut, survived] = [0, 0, 0];
  for (const { status, fileName, location, replacement, mutatorName } of results) {
    if (status === "Killed" || status === "Timeout") killed += 1;
    if (status === "Timeout") timedOut += 1;
    if (status !== "Survived" && status !== "NoCoverage") continue;
    survived += 1;
    const place = `${fileName.slice(fileName.indexOf(domain))}:${location.start.line}:${location.start.column}`;
    const change = (replacement ?? "").replace(/\s+/g, " ").slice(0, 80);
    console.log(`  ${status === "Survived" ? "survived" : "no test"}: ${place} ${mutatorName} → ${change}`);
  }
  if (killed + survived === 0) throw new Error("expected at least one mutant, got none");
  // An endless loop, as a rule. On a busy machine it may also be a test that was slow, which proves nothing.
  if (timedOut > 0) console.log(`  killed by running out of time: ${timedOut}`);
  return { module, killed, survived };
}

const percent = (value: number) => `${Math.round(1_000 * value) / 10} %`;
const isEnough = (score: Score) => (all ? share(score) : atBest(score)) >= scoreWanted;

function printScore(score: Score): void {
  const { module, killed, survived } = score;
  const note = isEnough(score) ? "" : `, wanted ${percent(scoreWanted)}: too low`;
  console.log(`${module}: ${killed} of ${killed + survived} mutants killed, ${percent(share(score))}${note}`);
}

const startedAt = performance.now();
const scores: Score[] = [];
const left: string[] = [];
const broken: string[] = [];
console.log(`seed ${seed}, ${all ? "all mutants" : `at most ${mutantsMax} mutants a module`}`);
for (const module of modules()) {
  if (performance.now() - startedAt > minutesMax * 60_000) {
    left.push(module);
    continue;
  }
  try {
    const score = await scoreOf(module);
    scores.push(score);
    printScore(score);
  } catch (error) {
    console.error(`${module}: could not be tried`, error);
    broken.push(module);
  }
}
rmSync(".stryker-tmp", { recursive: true, force: true });
if (left.length > 0) console.log(`not tried within ${minutesMax} minutes: ${left.join(", ")}`);
const sum = (of: (score: Score) => number) => scores.reduce((total, score) => total + of(score), 0);
const together = { module: "together", killed: sum(({ killed }) => killed), survived: sum(({ survived }) => survived) };
printScore(together);
process.exitCode = broken.length === 0 && scores.length > 0 && [...scores, together].every(isEnough) ? 0 : 1;
