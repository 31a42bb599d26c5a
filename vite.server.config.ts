import { defineConfig } from "vite";

/** Builds what runs on Node into dist/server/: our own files only, libraries stay where npm put them. */
export default defineConfig({
  publicDir: false,
  build: {
    ssr: true,
    outDir: "dist/server",
    emptyOutDir: true,
    target: "node20",
    sourcemap: true,
    minify: false,
    rolldownOptions: {
      input: {
        main: "server/main.ts",
        keeper: "server/keeper.ts",
        practice: "server/practice/main.ts",
        replay: "server/replay/main.ts",
        comparisonThread: "server/comparisonThread.ts",
        checkDatabase: "server/adapters/store/checkDatabase.ts",
      },
    },
  },
});
