import { execFile } from "node:child_process";
import type { StoreCheck } from "../../ports.ts";

/** @param program the built `checkDatabase` */
export const quickCheck =
  (program: string, databaseFile: string): StoreCheck =>
  (milliseconds) =>
    new Promise((resolve, reject) => {
      const options = { timeout: milliseconds, killSignal: "SIGKILL" as const, env: { NODE_ENV: "production" } };
      // A small heap: it runs beside the server, within the same memory limit.
      const args = ["--max-old-space-size=32", program, databaseFile];
      execFile(process.execPath, args, options, (error, stdout, stderr) => {
        if (error?.killed) return resolve(null);
        if (error) return reject(new Error(`the database could not be checked: ${stderr || error.message}`));
        resolve(JSON.parse(stdout) as string[]);
      });
    });
