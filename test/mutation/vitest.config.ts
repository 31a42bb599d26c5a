import { defineConfig } from "vitest/config";

/**
 * The domain's tests alone: they need no database. Which of them are tried is said here and not by Stryker's own `testFiles`,
 * with which it counts changes of what a module makes as it loads as unseen (its issue 6144).
 */
export default defineConfig({
  test: {
    include: [process.env.MUTATION_TESTS ?? "test/domain/**/*.test.ts"],
    setupFiles: ["test/support/chosenChance.ts"],
    testTimeout: 60_000,
    env: { TZ: "UTC" },
  },
});
