import { fileURLToPath } from "node:url";
import { defineConfig } from "vite";
import { earlyRequests } from "./client/build/earlyRequests.ts";
import { firstScreenChunk } from "./client/build/firstScreenChunk.ts";
import { serviceWorker } from "./client/build/serviceWorkerPlugin.ts";

const here = (path: string) => fileURLToPath(new URL(path, import.meta.url));

/**
 * Builds the keeper's client. Nothing is inlined but one script that the page's content policy allows by its hash: all else must be
 * a file of its own origin.
 */
export default defineConfig({
  root: here("client"),
  build: {
    outDir: here("dist/client"),
    emptyOutDir: true,
    target: "es2022",
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    sourcemap: false,
    rolldownOptions: {
      output: { codeSplitting: { groups: [{ name: firstScreenChunk, debugName: "index", minSize: 0 }] } },
    },
  },
  server: { proxy: { "/api": { target: "http://127.0.0.1:8080", ws: true } } },
  plugins: [earlyRequests(), serviceWorker({ source: here("client/worker/serviceWorker.ts") })],
});
