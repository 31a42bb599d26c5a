import { spawn } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { launchBrowser } from "../browser/browserPhone.ts";
import { type FirstScreenFigures, measureFirstScreen, weakPhone } from "../browser/firstScreen.ts";
import { findChromium } from "../support/chromium.ts";

// How long a weak phone on a weak line waits for its first useful screen, from the built server on loopback with nothing
// cached. Run by hand: npm run build && npm run bench:first-screen [runs]

const runs = Number(process.argv[2] ?? 5);
const { path } = findChromium();
if (path === null) throw new Error("there is no Chromium to measure with");

const scratch = mkdtempSync(join(tmpdir(), "pieward-first-screen-"));
const server = spawn(process.execPath, [join(import.meta.dirname, "../../dist/server/main.js")], {
  env: { PATH: process.env.PATH, HOST: "127.0.0.1", PORT: "0", DATA_DIR: join(scratch, "data"), LOG_LEVEL: "warn" },
  stdio: ["ignore", "pipe", "inherit"],
});
const browser = await launchBrowser(path);
try {
  const link = await new Promise<URL>((resolve, reject) => {
    let said = "";
    server.stdout.setEncoding("utf8").on("data", (words: string) => {
      said += words;
      const match = /(http\S+\/first-sign-in#[\w-]{43})\n/.exec(said);
      if (match?.[1] !== undefined) resolve(new URL(match[1]));
    });
    server.once("exit", (code) => reject(new Error(`the server ended with ${code}: ${said}`)));
  });
  const { origin } = link;
  const post = async (to: string, body: unknown, headers: Record<string, string> = {}) => {
    const response = await fetch(`${origin}/api/v1${to}`, {
      method: "POST",
      headers: { "content-type": "application/json", "x-pieward": "1", ...headers },
      body: JSON.stringify(body),
    });
    if (!response.ok) throw new Error(`${to} was refused: ${await response.text()}`);
    return { cookie: response.headers.get("set-cookie")?.split(";")[0] ?? "", said: await response.json() };
  };
  const claim = {
    token: link.hash.slice(1),
    name: "Ada",
    passphrase: "four black feathers in the snow",
    zone: "Europe/Stockholm",
  };
  const { cookie } = await post("/first-sign-in", claim);
  const home = await (await fetch(`${origin}/api/v1/home`, { headers: { cookie } })).json();
  let feeder = "";
  for (const name of ["Rowan", "Larch"]) {
    const { said } = await post("/feeders", { name, yard: home.yards[0].id }, { cookie });
    feeder = said.feeder.id;
    const portions = Array.from({ length: 60 }, (_, index) => ({
      seq: index + 1,
      uptimeMs: 60_000 * (index + 1),
      kind: "portion",
      cause: "press",
      motorMs: 900,
      chuteCount: 3,
    }));
    await post(
      "/report",
      {
        boot: `b-${name}-1`,
        sentUptimeMs: 3_700_000,
        readings: { hopperGrams: 612.5, airCelsius: -2.4 },
        events: portions,
      },
      { authorization: `Bearer ${said.key}` },
    );
  }
  const [name = "", value = ""] = cookie.split(/=(.*)/s);
  const signedIn = {
    cookies: [
      {
        name,
        value,
        domain: "127.0.0.1",
        path: "/",
        expires: -1,
        httpOnly: true,
        secure: false,
        sameSite: "Lax" as const,
      },
    ],
    origins: [],
  };
  const screens = [
    ["sign-in", "/", "input[name=passphrase]", {}],
    ["home", "/", ".feeder-entry", { storageState: signedIn }],
    ["feeder", `/feeders/${feeder}`, ".hopper-section", { storageState: signedIn }],
  ] as const;
  console.log(
    `${weakPhone.octetsPerSecond * 8} bit/s, ${weakPhone.latencyMs} ms, processor 1/${weakPhone.slowdown}; ${runs} runs, medians`,
  );
  for (const [screen, at, usable, options] of screens) {
    const seen: FirstScreenFigures[] = [];
    for (let run = 0; run < runs; run++)
      seen.push(await measureFirstScreen(browser, origin + at, usable, options as object));
    const half = (values: readonly number[]) => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)] ?? NaN;
    const of = (pick: (each: (typeof seen)[number]) => number) => half(seen.map(pick));
    console.log(
      `${screen.padEnd(8)} usable ${Math.round(of((each) => each.usableMs))} ms (${seen.map((each) => Math.round(each.usableMs)).join(", ")}), ` +
        `shift ${of((each) => each.layoutShift).toFixed(3)}, ${of((each) => each.octets)} octets, worker asked for at ${Math.round(of((each) => each.workerAskedMs ?? Infinity))} ms`,
    );
    for (const words of [...(seen[0]?.requests ?? []), ...(seen[0]?.shifted ?? [])]) console.log(`    ${words}`);
  }
} finally {
  await browser.close();
  server.kill("SIGTERM");
  await new Promise((resolve) => server.once("exit", resolve));
  rmSync(scratch, { recursive: true, force: true, maxRetries: 3 });
}
