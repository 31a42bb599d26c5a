import { existsSync } from "node:fs";

/**
 * The browser that browser tests drive, or none, with the text for their title:
 *
 *     const { path, unlessAbsent } = findChromium();
 *     describe.skipIf(path === null)(`the client${unlessAbsent}`, () => { … chromium.launch({ executablePath: path }) … });
 */
export interface ChromiumResult {
  readonly path: string | null;
  readonly unlessAbsent: string; // "" where there is one
}

/** @throws Error where there is none and PIEWARD_DEMAND_BROWSER=1 demands one */
export function findChromium(
  variables: Record<string, string | undefined> = process.env,
  exists: (path: string) => boolean = existsSync,
  report: (text: string) => void = (text) => process.stderr.write(`${text}\n`), // reporters leave out skipped titles
): ChromiumResult {
  const path = variables.CHROMIUM_PATH || "/usr/bin/chromium";
  if (exists(path)) return { path, unlessAbsent: "" };
  const absent = `no browser at ${path}: install Chromium (Debian: apt install chromium) or set CHROMIUM_PATH`;
  if (variables.PIEWARD_DEMAND_BROWSER === "1") throw new Error(absent);
  report(`Browser tests are skipped: ${absent}`);
  return { path: null, unlessAbsent: ` (skipped: ${absent})` };
}
