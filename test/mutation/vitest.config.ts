import { defineConfig } from "vitest/config";

/** The domain's tests alone: they need no database. */
export default defineConfig({
  test: {
    include: ["test/domain/**/*.test.ts"],
    setupFiles: ["test/support/chosenChance.ts"],
    testTimeout: 60_000,
    env: { TZ: "UTC" },
  },
});
