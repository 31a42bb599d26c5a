import { type ChildProcess, spawn } from "node:child_process";
import { join } from "node:path";
import { onTestFinished } from "vitest";

/** The server as a keeper runs it: the built file in a process of its own. */
export const builtServer = join(import.meta.dirname, "../../dist/server/main.js");

export interface RunningServer {
  /** Resolves once its output matches; rejects if it ends before that. */
  waitForOutput(pattern: RegExp): Promise<RegExpMatchArray>;
  stderr(): string;
  kill(signal: NodeJS.Signals): void;
  readonly exited: Promise<{ code: number | null; signal: string | null }>;
}

/** Starts it on a free port; it is ended with the test, whatever happens. @param program another version's main file */
export function runBuiltServer(
  dataDir: string,
  variables: Record<string, string> = {},
  args: readonly string[] = [],
  program = builtServer,
): RunningServer {
  const server = spawnBuiltServer(dataDir, variables, args, program);
  onTestFinished(async () => {
    server.kill("SIGKILL");
    await server.exited;
  });
  return server;
}

/** The same for a hook, which must end it itself. */
export function spawnBuiltServer(
  dataDir: string,
  variables: Record<string, string> = {},
  args: readonly string[] = [],
  program = builtServer,
): RunningServer {
  const env = {
    PATH: process.env.PATH,
    HOST: "127.0.0.1",
    PORT: "0",
    DATA_DIR: dataDir,
    LOG_LEVEL: "warn",
    ...variables,
  };
  const child: ChildProcess = spawn(process.execPath, ["--enable-source-maps", program, ...args], { env });
  const output = { out: "", err: "" };
  child.stdout?.setEncoding("utf8").on("data", (text: string) => {
    output.out += text;
  });
  child.stderr?.setEncoding("utf8").on("data", (text: string) => {
    output.err += text;
  });
  const ended = new Promise<{ code: number | null; signal: string | null }>((resolve) => {
    child.once("close", (code, signal) => resolve({ code, signal }));
  });
  return {
    waitForOutput: (pattern) =>
      new Promise((resolve, reject) => {
        const check = () => {
          const match = pattern.exec(output.out);
          if (match) resolve(match);
        };
        check();
        child.stdout?.on("data", check);
        void ended.then(({ code }) => {
          reject(new Error(`expected ${pattern}, but the server ended with ${code}:\n${output.out}${output.err}`));
        });
      }),
    stderr: () => output.err,
    kill: (signal) => void child.kill(signal),
    exited: ended,
  };
}
