import { numberText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { HopperLevel } from "../hopper/level.ts";
import type { FeederSettings } from "../settings.ts";
import type { Cause } from "./causeProbabilities.ts";
import { fewerPieces } from "./chuteModel.ts";
import type { Hypothesis } from "./faultSignatures.ts";
import type { FeedState } from "./feedState.ts";
import { type MotorModel, usualCurrent } from "./motorModel.ts";

/** "the tray is jammed", "the hopper is empty or the tray is jammed". */
export function causesText(causes: readonly Cause[]): string {
  const sentences = causes.map((cause) => texts.feed.causes[cause]);
  return sentences.length < 2
    ? sentences.join()
    : texts.feed.or(sentences.slice(0, -1).join(", "), sentences.at(-1) ?? "");
}

/** The evidence that no food falls. */
export function stopEvidenceText(feed: FeedState, { sensors }: FeederSettings): string {
  const { byCurrent, countsLess, hardlyAnyFalls, nothingFell, notLighter, fewerCounted } = texts.feed.evidence;
  if (sensors.chute && isThinned(feed)) {
    const fewer = fewerPieces(feed.chute);
    return fewer === null ? countsLess : fewerCounted(...piecesTexts(fewer));
  }
  if (sensors.chute && feed.uncountedPortions > 0) return nothingFell(feed.uncountedPortions);
  if (sensors.chute && feed.lastFellAt !== null) return hardlyAnyFalls;
  return sensors.scale && feed.scale.readingAt !== null ? notLighter : byCurrent;
}

/** Less is counted than usual, but something is: the sensor is dirty, the portions are small. Both can wait for some hours. */
export const isThinned = ({ diagnosis, uncountedPortions }: FeedState): boolean =>
  diagnosis !== null && thinningHypotheses.includes(diagnosis.hypothesis) && uncountedPortions < thinnedRunMax;
const thinningHypotheses: readonly Hypothesis[] = ["chuteHalfBlind", "chuteUndercounting", "trayPartlyJammed"];
const thinnedRunMax = 5; // portions

/** "2.4", "6". */
export const piecesTexts = ([lately, usually]: readonly [number, number]): [string, string] => [
  numberText(lately, usually < 10 ? 1 : 0),
  numberText(usually),
];

const stoppingCauses: readonly Cause[] = [
  "hopperEmpty",
  "feedBridged",
  "trayJammed",
  "motorStalled",
  "motorNotTurning",
];

/** A sentence for each missing sensor that could distinguish these causes. */
export function indistinguishableTexts(
  open: readonly Cause[],
  { motor }: FeedState,
  level: HopperLevel | null,
  { sensors }: FeederSettings,
): readonly string[] {
  const hasOne = (...causes: readonly Cause[]) => causes.some((cause) => open.includes(cause));
  const hasStopped = hasOne(...stoppingCauses);
  const mayBeBlind = hasOne("chuteBlind", "chuteHalfBlind") && !sensors.scale;
  const isEmptyTray = hasOne("hopperEmpty", "feedBridged");
  const isEmptyOrBridged = hasOne("hopperEmpty") && hasOne("feedBridged");
  const text = texts.feed.indistinguishable;
  const sentences: readonly (readonly [applies: boolean, sentence: string])[] = [
    [mayBeBlind && hasOne("trayPartlyJammed"), text.thinnedWithoutScale],
    [mayBeBlind && hasStopped, text.chuteWithoutScale],
    [hasStopped && hasOne("scaleStuck") && !sensors.chute, text.scaleWithoutChute],
    [
      isEmptyTray && hasOne("trayJammed") && !isCurrentKnown(motor),
      isCurrentMeasured(motor) ? text.jamBeforeCurrentIsKnown : text.jamWithoutCurrent,
    ],
    [isEmptyOrBridged && level === null, text.bridgeWithoutLevel],
  ];
  return sentences.flatMap(([applies, sentence]) => (applies ? [sentence] : []));
}

const isCurrentKnown = (motor: MotorModel): boolean => usualCurrent(motor) !== null && motor.lastMilliamps !== null;
const isCurrentMeasured = ({ portionsLearnt, lastMilliamps }: MotorModel): boolean =>
  portionsLearnt > 0 || lastMilliamps !== null;
