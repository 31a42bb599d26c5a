import { fileURLToPath } from "node:url";
import { defineConfig } from "vite";
import { serviceWorker } from "./client/build/serviceWorkerPlugin.ts";

const here = (path: string) => fileURLToPath(new URL(path, import.meta.url));

/** Builds the keeper's client. Nothing is inlined: the page's content policy allows only files of its own origin. */
export default defineConfig({
  root: here("client"),
  build: {
    outDir: here("dist/client"),
    emptyOutDir: true,
    target: "es2022",
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    sourcemap: false,
  },
  server: { proxy: { "/api": { target: "http://127.0.0.1:8080", ws: true } } },
  plugins: [serviceWorker({ source: here("client/worker/serviceWorker.ts") })],
});
