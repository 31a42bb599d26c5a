import { localTimeOf } from "../localTime.ts";
import type { CallNews, SilentFeeder } from "./call.ts";

/** More names than these are counted: the words must fit a locked screen. */
const namesMost = 4;

/** "Alder Croft: 2 of 3 feeders silent"; `inService` counts those that could be heard at all. */
export function yardWords(
  yardName: string,
  silent: readonly SilentFeeder[],
  inService: number,
  zone: string,
): CallNews {
  const named = silent
    .slice(0, namesMost)
    .map(({ name, lastHeardAt }) => `${name} at ${localTimeOf(lastHeardAt, zone)}`);
  const more = silent.length - named.length;
  return {
    title: `${yardName}: ${howMany(silent.length, inService)} silent`,
    body: `Last heard: ${named.join(", ")}${more > 0 ? ` and ${more} more` : ""}. They fell silent together, so look at the yard's power and network first.`,
  };
}

function howMany(silent: number, inService: number): string {
  if (silent < inService) return `${silent} of ${inService} feeders`;
  return silent === 2 ? "both feeders" : `all ${silent} feeders`;
}

export const allHeardAgain = (yardName: string): CallNews => ({
  title: `${yardName}: all heard again`,
  body: "Each of its feeders has reported again.",
});

export const onlyOneLeft = (yardName: string, { name }: SilentFeeder): CallNews => ({
  title: `${yardName}: only ${name} is still silent`,
  body: "The others are heard again or were set aside.",
});

/** In place of one feeder's own alarm, whose cause the yard's call now speaks of. */
export const silentWithOthers = (feederName: string, yardTitle: string): CallNews => ({
  title: `${feederName}: silent with others`,
  body: `It is told as one: ${yardTitle}.`,
});
