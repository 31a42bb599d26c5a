import { type ChildProcess, spawn } from "node:child_process";
import { readFileSync } from "node:fs";
import { join } from "node:path";
import packageFile from "../../package.json" with { type: "json" };

/** The built server as a process of its own, for benchmarks. */

const root = join(import.meta.dirname, "../..");

const started: ChildProcess[] = [];

/** Whatever still runs, of what this benchmark has started. */
export function killStarted(): void {
  for (const child of started) if (child.exitCode === null && child.signalCode === null) child.kill("SIGKILL");
}

/** As `npm start` starts the server: how much memory it may keep changes how fast it is. */
const [, arenas, flags] =
  packageFile.scripts.start.match(/^MALLOC_ARENA_MAX=(\d+) node (.*) dist\/server\/main\.js$/) ?? [];
if (arenas === undefined || flags === undefined)
  throw new Error(`expected npm start to set MALLOC_ARENA_MAX and node's options, got ${packageFile.scripts.start}`);
const serverArguments = flags.split(" ");

/** @returns what the process has said until it was ready. */
export function startProcess(
  file: string,
  env: Record<string, string>,
  isReady: RegExp,
): Promise<{ child: ChildProcess; said: string }> {
  const args = file.endsWith(".ts") ? ["--import", "tsx", file] : [...serverArguments, file];
  const child = spawn(process.execPath, args, {
    cwd: root,
    env: { ...process.env, ...env },
    stdio: ["ignore", "pipe", "inherit"],
  });
  started.push(child);
  return new Promise((resolve, reject) => {
    let said = "";
    child.stdout?.on("data", (chunk) => {
      said += chunk;
      if (isReady.test(said)) resolve({ child, said });
    });
    child.on("exit", (code) => reject(new Error(`${file} ended with ${code}: ${said}`)));
  });
}

export function stop(child: ChildProcess, signal: "SIGTERM" | "SIGKILL" = "SIGTERM"): Promise<void> {
  child.removeAllListeners("exit");
  return new Promise((resolve) => {
    child.on("exit", () => resolve());
    child.kill(signal);
  });
}

export interface Served {
  readonly child: ChildProcess;
  readonly address: string;
  readonly token: string; // of the first sign-in; empty where somebody has signed in
}

/** @param isNew nobody has signed in yet. @returns once it says where it listens */
export async function startServer(dataFolder: string, isNew = true): Promise<Served> {
  const env = {
    PORT: "0",
    HOST: "127.0.0.1",
    DATA_DIR: dataFolder,
    LOG_LEVEL: "warn",
    MALLOC_ARENA_MAX: arenas as string,
    REPORTS_PER_MINUTE: "1000000",
  };
  const { child, said } = await startProcess(
    join(root, "dist/server/main.js"),
    env,
    isNew ? /first-sign-in#\S+\s/ : /listens at \S+\s/,
  );
  const [, address = ""] = said.match(/(http:\/\/[^\s/#]+)/) ?? [];
  const [, token = ""] = said.match(/first-sign-in#(\S+)/) ?? [];
  return { child, address, token };
}

export interface AddedFeeder {
  readonly id: string;
  readonly key: string;
}

export async function signInAndAdd(
  { address, token }: Served,
  feeders: number,
): Promise<{ cookie: string; added: AddedFeeder[] }> {
  const post = async (path: string, body: object, cookie = "") => {
    const headers = { "content-type": "application/json", "x-pieward": "1", cookie };
    const answer = await fetch(`${address}${path}`, { method: "POST", headers, body: JSON.stringify(body) });
    if (!answer.ok) throw new Error(`${path} answered ${answer.status}: ${await answer.text()}`);
    return answer;
  };
  const claimed = await post("/api/v1/first-sign-in", { token, name: "Bench", passphrase: "only for measuring" });
  const cookie = claimed.headers.get("set-cookie")?.split(";")[0] ?? "";
  const home = (await (await fetch(`${address}/api/v1/home`, { headers: { cookie } })).json()) as {
    yards: { id: string }[];
  };
  const added: AddedFeeder[] = [];
  for (let index = 0; index < feeders; index += 1) {
    const one = await post("/api/v1/feeders", { yard: home.yards[0]?.id, name: `Bench ${index}` }, cookie);
    const { key, feeder } = (await one.json()) as { key: string; feeder: { id: string } };
    added.push({ id: feeder.id, key });
  }
  return { cookie, added };
}

/** Memory of a process that is not shared or swapped out. */
export const residentMegabytes = (pid: number): number => {
  const pages = Number(readFileSync(`/proc/${pid}/statm`, "utf8").split(" ")[1]);
  return (pages * 4_096) / 1_048_576;
};
