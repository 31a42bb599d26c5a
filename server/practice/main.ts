import { instant } from "../domain/instant.ts";
import { readCommandLine, usage } from "./commandLine.ts";
import { startPractice } from "./run.ts";

/** `npm run practice`: one simulated feeder against any Pieward server. It reaches the server only by its reports. */
const read = readCommandLine(process.argv.slice(2));
if (read.kind === "wrong") {
  for (const problem of read.problems) console.error(problem);
  console.error(usage);
  process.exitCode = 2;
} else {
  const { url, key, settings, fault, seed, history, duration } = read.line;
  const clock = () => new Date().toISOString().slice(11, 19);
  const { name, hopperCapacityGrams, portionGrams, battery, sensors } = settings;
  const fitted = Object.entries(sensors).flatMap(([sensor, there]) => (there ? [sensor] : []));
  console.log(
    `${name}: ${hopperCapacityGrams} g hopper, ${portionGrams} g portions, battery ${battery}, with ${fitted.join(", ")}.`,
  );
  console.log("Give the feeder in Pieward the same settings, or its alarms will be wrong.");
  const practice = startPractice({
    url,
    key,
    settings,
    seed,
    history,
    now: () => instant(Date.now()),
    fetch: globalThis.fetch,
    timers: {
      setTimeout: (work, milliseconds) => setTimeout(work, milliseconds),
      clearTimeout: (timer) => clearTimeout(timer as NodeJS.Timeout),
    },
    log: {
      info: (text) => console.log(`${clock()}  ${text}`),
      warning: (text) => console.error(`${clock()}  ! ${text}`),
    },
  });
  practice.setFault(fault);

  let end: NodeJS.Timeout | undefined;
  const stop = (why: string) => {
    clearTimeout(end);
    console.log(`${clock()}  ${why}`);
    practice.stop().then(
      () => console.log(`${clock()}  The practice feeder is off.`),
      (error: unknown) => {
        console.error(error);
        process.exitCode = 1;
      },
    );
  };
  process.once("SIGINT", () => stop("Stopped."));
  process.once("SIGTERM", () => stop("Stopped."));
  if (duration !== null) end = setTimeout(() => stop("The time is up."), duration);
}
