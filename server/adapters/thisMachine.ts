import { existsSync } from "node:fs";
import { networkInterfaces } from "node:os";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

/** The folder with package.json: above this file when it runs as written, two above when it is built into dist/. */
export function projectFolder(): string {
  let folder = dirname(fileURLToPath(import.meta.url));
  while (!existsSync(join(folder, "package.json"))) {
    const above = dirname(folder);
    if (above === folder) throw new Error("expected a package.json above the server's own files");
    folder = above;
  }
  return folder;
}

/** Where a keeper's browser finds the server. */
export function homeUrl(
  { publicUrl, host }: { readonly publicUrl: string | null; readonly host: string },
  port: number | string,
): string {
  return publicUrl ?? `http://${host === "0.0.0.0" ? (homeAddress() ?? "127.0.0.1") : host}:${port}`;
}

/** This machine's address in the home network, for the keeper to type on a phone. */
function homeAddress(): string | null {
  const all = Object.values(networkInterfaces()).flatMap((addresses) => addresses ?? []);
  return all.find(({ family, internal }) => family === "IPv4" && !internal)?.address ?? null;
}
