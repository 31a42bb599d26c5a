import { defineConfig } from "vitest/config";

/** Simulated months of whole feeders: too long to be run for each mutant of a sample. What they find, a sample counts as survived. */
const longStories = ["alarms/feederStories", "alarms/anyFeeder", "orders/lives"].map(
  (name) => `test/domain/${name}.test.ts`,
);

/**
 * The domain's tests alone: they need no database. The choice of files is here and not in Stryker's own `testFiles`, with which
 * mutants of what a module computes as it loads count as survivors (its issue 6144).
 */
export default defineConfig({
  test: {
    include: [process.env.MUTATION_TESTS ?? "test/domain/**/*.test.ts"],
    exclude: process.env.MUTATION_ALL === "true" ? [] : longStories,
    setupFiles: ["test/support/seededTests.ts"],
    // Stryker has a limit of its own for each mutant; this one must hold on a busy machine, with the code that counts coverage.
    testTimeout: 300_000,
    env: { TZ: "UTC" },
  },
});
