import { execFile } from "node:child_process";
import { mkdtemp, rm } from "node:fs/promises";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";

/** The client built as it is delivered, in a folder of its own. */
export interface BuiltClient {
  readonly folder: string;
  remove(): Promise<void>;
}

export async function copyBuiltClient(): Promise<BuiltClient> {
  const folder = await mkdtemp(join(tmpdir(), "pieward-client-"));
  // In a process of its own: a test runner's NODE_ENV would give a build for development.
  await promisify(execFile)(
    process.execPath,
    ["node_modules/vite/bin/vite.js", "build", "--outDir", folder, "--logLevel", "error"],
    { cwd: fileURLToPath(new URL("../..", import.meta.url)), env: { ...process.env, NODE_ENV: "production" } },
  );
  return { folder, remove: () => rm(folder, { recursive: true, force: true }) };
}
