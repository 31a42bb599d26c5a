import { defineConfig } from "vitest/config";

export default defineConfig({
  test: {
    include: ["test/**/*.test.ts", "test/**/*.test.tsx"],
    globalSetup: ["test/support/migratedDatabase.ts"],
    setupFiles: ["test/support/seededTests.ts"],
    // On two cores it would take one file after another, and the browsers mostly wait.
    maxWorkers: 2,
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
