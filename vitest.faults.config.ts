import { defineConfig } from "vitest/config";

/** Long runs with the built server: kills and faults of the disk. `npm run test:faults`. */
export default defineConfig({
  test: {
    include: ["test/faults/**/*.faults.ts"],
    globalSetup: ["test/support/migratedDatabase.ts"],
    testTimeout: 120_000,
    hookTimeout: 120_000,
    fileParallelism: false,
    env: { TZ: "UTC" },
  },
});
