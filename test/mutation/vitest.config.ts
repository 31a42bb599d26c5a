import { defineConfig } from "vitest/config";

/**
 * The domain's tests alone: they need no database. The choice of files is here and not in Stryker's own `testFiles`, with which
 * mutants of what a module computes as it loads count as survivors (its issue 6144).
 */
export default defineConfig({
  test: {
    include: [process.env.MUTATION_TESTS ?? "test/domain/**/*.test.ts"],
    setupFiles: ["test/support/seededTests.ts"],
    testTimeout: 60_000,
    env: { TZ: "UTC" },
  },
});
