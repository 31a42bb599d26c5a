import { Worker } from "node:worker_threads";
import { type Span, seconds } from "../domain/instant.ts";
import type { ComparedSettings, ComparisonOutcome, ComparisonRequest, SettingsComparer } from "../ports.ts";

/** What the thread is given. */
export interface ComparisonWork {
  readonly databaseFile: string;
  readonly request: ComparisonRequest;
}

export interface ThreadLimits {
  readonly time: Span;
  readonly heapMebibytes: number;
}

/** A replay needs some 30 MB however long the log is, and the server shares a small board. Our choice. */
const usualLimits: ThreadLimits = { time: seconds(60), heapMebibytes: 96 };

/**
 * Each comparison has a thread of its own, which ends with it: it computes for many seconds, which must not hold up the event loop.
 * One at a time, within limits of time and memory.
 * @param program the built `comparisonThread`
 * @param execArgv options of Node.js for it
 */
export function createSettingsComparer(
  program: string | URL,
  databaseFile: string,
  limits = usualLimits,
  execArgv: string[] = [],
): SettingsComparer & { close(): void } {
  let running: AbortController | null = null;
  return {
    async compare(request, signal) {
      if (running !== null) return { kind: "busy" };
      running = new AbortController();
      const workerData: ComparisonWork = { databaseFile, request };
      const resourceLimits = { maxOldGenerationSizeMb: limits.heapMebibytes, maxYoungGenerationSizeMb: 8 };
      const worker = new Worker(program, { workerData, resourceLimits, execArgv });
      try {
        return await outcomeOf(worker, limits.time, AbortSignal.any([signal, running.signal]));
      } finally {
        await worker.terminate();
        running = null;
      }
    },
    /** At the end of the server. */
    close: () => running?.abort(),
  };
}

function outcomeOf(worker: Worker, time: Span, signal: AbortSignal): Promise<ComparisonOutcome> {
  return new Promise((resolve, reject) => {
    const timer = setTimeout(() => resolve({ kind: "tookTooLong" }), time);
    worker.once("message", (compared: ComparedSettings) => resolve({ kind: "compared", compared }));
    worker.once("error", (error: NodeJS.ErrnoException) => {
      if (error.code === "ERR_WORKER_OUT_OF_MEMORY") resolve({ kind: "tookTooMuchMemory" });
      else reject(error);
    });
    worker.once("exit", (code) => {
      clearTimeout(timer);
      reject(new Error(`a comparison of settings ended with ${code}, without a result`)); // unless it has resolved before
    });
    const cancel = () => resolve({ kind: "cancelled" });
    if (signal.aborted) cancel();
    else signal.addEventListener("abort", cancel, { once: true });
  });
}
