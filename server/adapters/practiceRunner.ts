import type { PracticeFault } from "../contract/api.ts";
import type { Clock, PracticeRunner, PracticeStart } from "../ports.ts";
import { type Practice, type PracticeLog, startPractice } from "../practice/run.ts";
import { feederWithFault, larch, type PracticeSettings, rowan } from "../practice/yard.ts";

/**
 * Runs the invented feeders inside the server. They report over HTTP to the server itself, as real feeders do.
 * @param ownUrl where this server listens; called only once it does.
 */
export function createPracticeRunner(clock: Clock, ownUrl: () => string, log: PracticeLog): PracticeRunner {
  let running = new Map<string, Practice>();
  let fault: PracticeFault = "none";

  const begin = ({ name, key, reportedUntil, hopper }: PracticeStart): [string, Practice] => {
    const practice = startPractice({
      url: ownUrl(),
      key,
      settings: settingsOf(name),
      seed: weatherSeed,
      now: () => clock.now(),
      fetch: globalThis.fetch,
      timers: backgroundTimers,
      log,
      reportedUntil,
      ...(hopper === null ? {} : { hopperGrams: hopper }),
    });
    return [name, practice];
  };

  return {
    start(feeders) {
      running = new Map(feeders.map(begin));
    },
    async stop() {
      const stopping = [...running.values()];
      running = new Map();
      fault = "none";
      await Promise.all(stopping.map((practice) => practice.stop()));
    },
    setFault(chosen) {
      fault = chosen;
      for (const [name, practice] of running) {
        if (chosen !== "none" && name === feederWithFault(chosen)) practice.setFault(chosen);
        else practice.clearFault();
      }
    },
    state: () => ({ running: running.size > 0, fault }),
  };
}

/** They don't keep the process running. */
const backgroundTimers: Parameters<typeof startPractice>[0]["timers"] = {
  setTimeout: (work, after) => setTimeout(work, after).unref(),
  clearTimeout: (timer) => clearTimeout(timer as NodeJS.Timeout),
};

/** One for all: the practice feeders are in one yard and have the same weather. */
const weatherSeed = 1;

const settingsOf = (name: string): PracticeSettings => (name === larch.name ? larch : rowan);
