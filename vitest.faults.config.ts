import { defineConfig } from "vitest/config";

/**
 * What takes minutes: the built server is killed, its disk fills up, its files are damaged. One file after another, since each
 * measures time and memory of its own server.
 */
export default defineConfig({
  test: {
    include: ["test/faults/**/*.faults.ts"],
    globalSetup: ["test/support/migratedDatabase.ts"],
    setupFiles: ["test/support/seededTests.ts"],
    fileParallelism: false,
    testTimeout: 300_000,
    hookTimeout: 60_000,
    env: { TZ: "UTC" },
  },
});
