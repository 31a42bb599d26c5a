import type { FeederSettings } from "../settings.ts";
import type { Cause } from "./causeProbabilities.ts";
import type { FeedState } from "./feedState.ts";
import { usualCurrent } from "./motorModel.ts";

const causeTexts: Record<Cause, string> = {
  hopperEmpty: "the hopper is empty",
  feedBridged: "the food has bridged above the tray",
  trayJammed: "the tray is jammed",
  motorStalled: "the motor is held fast",
  motorNotTurning: "the motor isn't turning",
  chuteBlind: "the chute sensor is blind",
  chuteHalfBlind: "the chute sensor misses many",
  scaleStuck: "the scale is stuck",
};

/** "the tray is jammed", "the hopper is empty or the tray is jammed". */
export function causesText(names: readonly Cause[]): string {
  const said = names.map((name) => causeTexts[name]);
  return said.length < 2 ? said.join() : `${said.slice(0, -1).join(", ")} or ${said.at(-1)}`;
}

/** By what sign we know that no food falls. */
export function stopEvidenceText(feed: FeedState, { sensors }: FeederSettings): string {
  if (sensors.chute && feed.uncountedPortions > 0) {
    return `Nothing fell in the last ${feed.uncountedPortions === 1 ? "portion" : `${feed.uncountedPortions} portions`}`;
  }
  if (sensors.chute && feed.lastFellAt !== null) return "Hardly any portion falls any more";
  if (sensors.scale && feed.scale.readingAt !== null)
    return "The hopper doesn't grow lighter, whatever portions are given";
  return "By the motor's current no food is moved";
}

const stoppingCauses: ReadonlySet<Cause> = new Set<Cause>([
  "hopperEmpty",
  "feedBridged",
  "trayJammed",
  "motorStalled",
  "motorNotTurning",
]);

/** Which of these look the same, and without which sensor; nothing where no sensor is missing. */
export function indistinguishableText(open: readonly Cause[], feed: FeedState, { sensors }: FeederSettings): string {
  const current = usualCurrent(feed.motor) !== null && feed.motor.lastMilliamps !== null;
  const stop = open.some((name) => stoppingCauses.has(name));
  const blind = open.includes("chuteBlind") || open.includes("chuteHalfBlind");
  const unloaded = open.includes("hopperEmpty") || open.includes("feedBridged");
  const said: string[] = [];
  if (stop && blind && !sensors.scale) said.push("Without a scale a blind chute sensor looks the same.");
  if (stop && open.includes("scaleStuck") && !sensors.chute)
    said.push("Without a chute sensor a stuck scale looks the same.");
  if (unloaded && open.includes("trayJammed") && !current) {
    said.push("Without the motor's current a jammed tray and a tray without food look the same.");
  }
  if (open.includes("hopperEmpty") && open.includes("feedBridged") && feed.levelAtPortion === null) {
    said.push("Without the hopper's level an empty hopper and bridged food look the same.");
  }
  return said.map((sentence) => ` ${sentence}`).join("");
}
