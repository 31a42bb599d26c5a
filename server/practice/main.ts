import { instant } from "../domain/instant.ts";
import { readCommandLine, usage } from "./commandLine.ts";
import { startPractice } from "./run.ts";

/** `npm run practice`: one simulated feeder against any Pieward server. It has no hands on the server but the report door. */
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
  console.log("Pieward judges it well only if its feeder there is set to the same.");
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
      info: (words) => console.log(`${clock()}  ${words}`),
      warning: (words) => console.error(`${clock()}  ! ${words}`),
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
  process.once("SIGINT", () => stop("Told to stop."));
  process.once("SIGTERM", () => stop("Told to stop."));
  if (duration !== null) end = setTimeout(() => stop("The time is up."), duration);
}
