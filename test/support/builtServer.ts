import { type ChildProcess, spawn } from "node:child_process";
import { join } from "node:path";
import { onTestFinished } from "vitest";

/** The server as a keeper runs it: the built file in a process of its own. */
export const builtServer = join(import.meta.dirname, "../../dist/server/main.js");

export interface RunningServer {
  /** Resolves once its output matches; rejects if it ends before that. */
  waitForOutput(words: RegExp): Promise<RegExpMatchArray>;
  stderr(): string;
  kill(signal: NodeJS.Signals): void;
  readonly exited: Promise<{ code: number | null; signal: string | null }>;
}

/** Starts it on a free port; it is ended with the test, whatever happens. */
export function runBuiltServer(
  dataDir: string,
  variables: Record<string, string> = {},
  args: readonly string[] = [],
): RunningServer {
  const server = spawnBuiltServer(dataDir, variables, args);
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
): RunningServer {
  const env = {
    PATH: process.env.PATH,
    HOST: "127.0.0.1",
    PORT: "0",
    DATA_DIR: dataDir,
    LOG_LEVEL: "warn",
    ...variables,
  };
  const child: ChildProcess = spawn(process.execPath, ["--enable-source-maps", builtServer, ...args], { env });
  const heard = { out: "", err: "" };
  child.stdout?.setEncoding("utf8").on("data", (words: string) => {
    heard.out += words;
  });
  child.stderr?.setEncoding("utf8").on("data", (words: string) => {
    heard.err += words;
  });
  const ended = new Promise<{ code: number | null; signal: string | null }>((resolve) => {
    child.once("close", (code, signal) => resolve({ code, signal }));
  });
  return {
    waitForOutput: (words) =>
      new Promise((resolve, reject) => {
        const look = () => {
          const match = words.exec(heard.out);
          if (match) resolve(match);
        };
        look();
        child.stdout?.on("data", look);
        void ended.then(({ code }) => {
          reject(new Error(`expected ${words}, but the server ended with ${code}:\n${heard.out}${heard.err}`));
        });
      }),
    stderr: () => heard.err,
    kill: (signal) => void child.kill(signal),
    exited: ended,
  };
}
