import { defineConfig } from "vitest/config";

/**
 * Test files of these folders share the modules of their worker: to load the server for each file took a third of the time. Those that
 * replace modules, screens and whole programs have modules of their own.
 */
const sharing = "domain|contract|worlds|learners|judge|evaluation|practice|flows|routes|adapters";
const replacesModules = [
  "test/routes/{limits,rejectedReadings,documentedLink}.test.ts",
  "test/adapters/outboxWorker.test.ts",
];

/**
 * What takes minutes and guards what seldom changes: the judge's own worlds and learners, a bite of the judge and of the evaluation, the
 * faults planted for the linter, a feeder's week alone, the memory of a long replay, hours in which everything fails, kills of feeder and
 * server together, damaged data folders, an endpoint that the browser renews, the documentation in a browser. `npm run test:soak` runs it.
 */
const slow = [
  ...["test/worlds/**", "test/learners/**", "test/evaluation/evaluation.test.ts"],
  "test/judge/{judge,reasons}.test.ts",
  "test/forgottenPromises.test.ts",
  "test/deploy/weekAway.test.ts",
  "test/replay/memory.test.ts",
  "test/scenarios/**",
  "test/deploy/killedPair.test.ts",
  "test/wholeServer/damagedFiles.test.ts",
  "test/browser/{documentation,renewedPhone}.test.ts",
  "test/domain/orders/lives.test.ts",
  "test/practice/alarms.test.ts",
];
const leftOut = process.env.PIEWARD_TEST_RUNS === undefined ? slow : [];

export default defineConfig({
  test: {
    projects: [
      {
        extends: true,
        test: {
          name: "sharing",
          isolate: false,
          include: [`test/@(${sharing})/**/*.test.ts`],
          exclude: [...replacesModules, ...leftOut],
        },
      },
      {
        extends: true,
        test: {
          name: "apart",
          include: ["test/*.test.ts", `test/!(${sharing})/**/*.test.{ts,tsx}`, ...replacesModules],
          exclude: leftOut,
        },
      },
    ],
    globalSetup: ["test/support/migratedDatabase.ts"],
    setupFiles: ["test/support/seededTests.ts"],
    // On two cores it would take one file after another, and the browsers mostly wait.
    maxWorkers: 2,
    // Of one file: five pages loaded at once beside other tests were so slow that a page gave up loading a screen.
    maxConcurrency: 3,
    // Passwords are hashed and databases synced for real; on a slow disk that takes its time.
    testTimeout: 60_000,
    hookTimeout: 30_000,
    env: { TZ: "UTC" },
    coverage: {
      provider: "v8",
      include: ["server/domain/**"],
      reporter: ["text-summary", "json-summary"],
      reportsDirectory: "coverage",
      thresholds: { lines: 97, functions: 97, branches: 93 },
    },
  },
});
