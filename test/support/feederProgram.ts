import { type ChildProcess, spawn } from "node:child_process";
import { existsSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { onTestFinished } from "vitest";

/** The feeder's own program as a process of its own, with birds that drop caps and a motor that records its runs. */
export interface FeederProgram {
  /** @param boot "b-quiet…": no bird comes */
  start(boot: string, options: readonly string[]): void;
  /** As by a power cut. */
  kill(): Promise<void>;
  output(): string;
  /** What motor and clock recorded in this start. */
  recordOf(boot: string): string;
  /** When the motor was switched on in this start, in seconds since 1970, by what the motor's own file says. */
  runsOf(boot: string): number[];
  until(holds: () => boolean | Promise<boolean>, what: string, withinMs?: number): Promise<void>;
}

export const feederFolder = join(import.meta.dirname, "../../deploy/feeder");

/** @param folder for its key, its card and what the motor records */
export function feederProgram(folder: string, key: string, environment: Record<string, string> = {}): FeederProgram {
  writeFileSync(join(folder, "feeder.key"), key, { mode: 0o600 });
  let child: ChildProcess | null = null;
  let output = "";
  const runsFile = (boot: string) => join(folder, `${boot}.runs`);
  const recordOf = (boot: string) => (existsSync(runsFile(boot)) ? readFileSync(runsFile(boot), "utf8") : "");
  const kill = async () => {
    const program = child;
    if (program === null || program.exitCode !== null || program.signalCode !== null) return;
    const ended = new Promise((resolve) => program.once("exit", resolve));
    program.kill("SIGKILL");
    await ended;
  };
  onTestFinished(kill);
  return {
    start(boot, options) {
      const own = ["--key-file", join(folder, "feeder.key"), "--data", join(folder, "card"), "--wired"];
      const program = ["-B", "test_kills.py", "--feeder", boot, runsFile(boot)];
      const env = { ...process.env, FEEDER_BIRDS: "caps", ...environment };
      child = spawn("python3", [...program, ...own, ...options], { cwd: feederFolder, env });
      child.stderr?.setEncoding("utf8").on("data", (text: string) => {
        output += text;
      });
    },
    kill,
    output: () => output,
    recordOf,
    runsOf: (boot) => [...recordOf(boot).matchAll(/^on (\S+)$/gm)].map(([, at]) => Number(at)),
    async until(holds, what, withinMs = 30_000) {
      const end = Date.now() + withinMs;
      while (!(await holds())) {
        if (Date.now() > end) throw new Error(`waited for ${what}; its output:\n${output}`);
        await sleep(50);
      }
    },
  };
}
