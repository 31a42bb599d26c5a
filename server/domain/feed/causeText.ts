import type { FeederSettings } from "../settings.ts";
import type { Cause } from "./causeProbabilities.ts";
import type { FeedState } from "./feedState.ts";
import { usualCurrent } from "./motorModel.ts";

const causeTexts: Record<Cause, string> = {
  hopperEmpty: "the hopper is empty",
  feedBridged: "the food is stuck above the tray",
  trayJammed: "the tray is jammed",
  motorStalled: "the motor is blocked",
  motorNotTurning: "the motor isn't turning",
  chuteBlind: "the chute sensor is blind",
  chuteHalfBlind: "the chute sensor misses many",
  scaleStuck: "the scale is stuck",
};

/** "the tray is jammed", "the hopper is empty or the tray is jammed". */
export function causesText(causes: readonly Cause[]): string {
  const sentences = causes.map((cause) => causeTexts[cause]);
  return sentences.length < 2 ? sentences.join() : `${sentences.slice(0, -1).join(", ")} or ${sentences.at(-1)}`;
}

/** The evidence that no food falls. */
export function stopEvidenceText(feed: FeedState, { sensors }: FeederSettings): string {
  if (sensors.chute && feed.uncountedPortions > 0) {
    return `Nothing fell in the last ${feed.uncountedPortions === 1 ? "portion" : `${feed.uncountedPortions} portions`}`;
  }
  if (sensors.chute && feed.lastFellAt !== null) return "Hardly any portion falls any more";
  if (sensors.scale && feed.scale.readingAt !== null)
    return "The hopper doesn't grow lighter, whatever portions are given";
  return "By the motor's current no food is moved";
}

const stoppingCauses: readonly Cause[] = [
  "hopperEmpty",
  "feedBridged",
  "trayJammed",
  "motorStalled",
  "motorNotTurning",
];

/** Which of these causes a missing sensor could distinguish; empty where no sensor is missing. */
export function indistinguishableText(open: readonly Cause[], feed: FeedState, { sensors }: FeederSettings): string {
  const hasOne = (...causes: readonly Cause[]) => causes.some((cause) => open.includes(cause));
  const hasStopped = hasOne(...stoppingCauses);
  const isCurrentKnown = usualCurrent(feed.motor) !== null && feed.motor.lastMilliamps !== null;
  const isEmptyTray = hasOne("hopperEmpty", "feedBridged");
  const isEmptyOrBridged = hasOne("hopperEmpty") && hasOne("feedBridged");
  const sentences: readonly (readonly [applies: boolean, sentence: string])[] = [
    [
      hasStopped && hasOne("chuteBlind", "chuteHalfBlind") && !sensors.scale,
      "Without a scale a blind chute sensor looks the same.",
    ],
    [hasStopped && hasOne("scaleStuck") && !sensors.chute, "Without a chute sensor a stuck scale looks the same."],
    [
      isEmptyTray && hasOne("trayJammed") && !isCurrentKnown,
      "Without the motor's current a jammed tray and a tray without food look the same.",
    ],
    [
      isEmptyOrBridged && feed.levelAtPortion === null,
      "Without the hopper's level an empty hopper and bridged food look the same.",
    ],
  ];
  return sentences.map(([applies, sentence]) => (applies ? ` ${sentence}` : "")).join("");
}
