import { defineConfig } from "vitest/config";

/** Long runs against the built server: floods, kills, damaged disks. Not part of `npm test`. */
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
