import type { FeederSettings } from "../settings.ts";
import type { FeedState } from "./feedState.ts";
import { usualCurrent } from "./motorCurrent.ts";
import type { Name } from "./naming.ts";

const saidAs: Record<Name, string> = {
  empty: "the hopper is empty",
  bridged: "the food has bridged above the tray",
  jammed: "the tray is jammed",
  stalled: "the motor is held fast",
  still: "the motor isn't turning",
  blind: "the chute sensor is blind",
  halfBlind: "the chute sensor misses many",
  scaleStuck: "the scale is stuck",
};

/** "the tray is jammed", "the hopper is empty or the tray is jammed". */
export function namesOr(names: readonly Name[]): string {
  const said = names.map((name) => saidAs[name]);
  return said.length < 2 ? said.join() : `${said.slice(0, -1).join(", ")} or ${said.at(-1)}`;
}

/** By what sign we know that no food falls. */
export function signOfStop(feed: FeedState, { sensors }: FeederSettings): string {
  if (sensors.chute && feed.uncountedRun > 0) {
    return `Nothing fell in the last ${feed.uncountedRun === 1 ? "portion" : `${feed.uncountedRun} portions`}`;
  }
  if (sensors.chute && feed.lastFellAt !== null) return "Hardly any portion falls any more";
  if (sensors.scale && feed.scale.at !== null) return "The hopper doesn't grow lighter, whatever portions are given";
  return "By the motor's current no food is moved";
}

const stops: ReadonlySet<Name> = new Set<Name>(["empty", "bridged", "jammed", "stalled", "still"]);

/** Which of these look the same, and without which sensor; nothing where no sensor is missing. */
export function looksTheSame(open: readonly Name[], feed: FeedState, { sensors }: FeederSettings): string {
  const current = usualCurrent(feed.motor) !== null && feed.motor.lastMilliamps !== null;
  const stop = open.some((name) => stops.has(name));
  const blind = open.includes("blind") || open.includes("halfBlind");
  const unloaded = open.includes("empty") || open.includes("bridged");
  const said: string[] = [];
  if (stop && blind && !sensors.scale) said.push("Without a scale a blind chute sensor looks the same.");
  if (stop && open.includes("scaleStuck") && !sensors.chute)
    said.push("Without a chute sensor a stuck scale looks the same.");
  if (unloaded && open.includes("jammed") && !current) {
    said.push("Without the motor's current a jammed tray and a tray without food look the same.");
  }
  if (open.includes("empty") && open.includes("bridged") && feed.levelAtPortion === null) {
    said.push("Without the hopper's level an empty hopper and bridged food look the same.");
  }
  return said.map((sentence) => ` ${sentence}`).join("");
}
