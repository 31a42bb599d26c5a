import { createHash } from "node:crypto";
import { readdir, readFile, writeFile } from "node:fs/promises";
import { join, relative, sep } from "node:path";
import { build, type Plugin } from "vite";
import { compressFiles } from "./compressFiles.ts";

/**
 * Builds the service worker after the page, since it must name every file that the page was built into. The version is
 * a fingerprint of those files and of the worker itself: the same sources give the same worker, and any change a new one.
 */
export function serviceWorker(options: { readonly source: string }): Plugin {
  let outDir = "";
  return {
    name: "pieward-service-worker",
    apply: "build",
    configResolved(config) {
      outDir = config.build.outDir;
    },
    async closeBundle() {
      const files = (await filesIn(outDir)).filter((path) => path !== "worker.js" && !path.endsWith(".map"));
      const version = await fingerprint(outDir, files, options.source);
      const code = await buildWorker(options.source, {
        __SHELL_FILES__: JSON.stringify(files.map((path) => `/${path}`)),
        __SHELL_VERSION__: JSON.stringify(version),
      });
      await writeFile(join(outDir, "worker.js"), code);
      await compressFiles(outDir, [...files, "worker.js"]); // last, so that neither list nor fingerprint knows of them
    },
  };
}

async function filesIn(folder: string): Promise<readonly string[]> {
  const entries = await readdir(folder, { recursive: true, withFileTypes: true });
  return entries
    .filter((entry) => entry.isFile())
    .map((entry) => relative(folder, join(entry.parentPath, entry.name)).split(sep).join("/"))
    .sort();
}

async function fingerprint(folder: string, files: readonly string[], source: string): Promise<string> {
  const hash = createHash("sha256");
  for (const path of files)
    hash
      .update(path)
      .update("\0")
      .update(await readFile(join(folder, path)));
  hash.update(await readFile(source));
  return hash.digest("hex").slice(0, 12);
}

async function buildWorker(source: string, define: Record<string, string>): Promise<string> {
  const built = await build({
    configFile: false,
    publicDir: false,
    logLevel: "warn",
    define,
    build: {
      write: false,
      target: "es2022",
      modulePreload: false,
      rollupOptions: { input: source, output: { format: "iife", entryFileNames: "worker.js" } },
    },
  });
  const outputs = Array.isArray(built) ? built : [built];
  for (const output of outputs) {
    if (!("output" in output)) continue;
    const chunk = output.output.find((each) => each.type === "chunk");
    if (chunk !== undefined) return chunk.code;
  }
  throw new Error(`building ${source} gave no code`);
}
