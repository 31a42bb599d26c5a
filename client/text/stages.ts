import { gramsText as gramsUnitText } from "#text/amount.ts";
import * as text from "#text/stages.ts";
import type { EarnedFoodView, StageView } from "../../server/contract/trainingView.ts";
import { capitalize, massText, toSentence } from "./amount.ts";
import { numberText } from "./format.ts";
import { shareText } from "./training.ts";

/** "A portion for each cap; free food about every 240 minutes." */
export function earnsText({ free, press, deposit }: StageView["earns"]): string {
  const parts = [
    ...(press === null ? [] : [earnedText(press, text.actNames.press)]),
    ...(deposit === null ? [] : [earnedText(deposit, text.actNames.deposit)]),
    freeText(free),
  ];
  return toSentence(parts.join("; "));
}

function earnedText({ ratio: { kind, of } }: EarnedFoodView, act: string): string {
  if (of === 1) return text.eachText(act);
  return kind === "fixed" ? text.fixedText(act, of) : text.variableText(act, of);
}

function freeText(free: StageView["earns"]["free"]): string {
  if (free === null) return text.noFreeText;
  const mean = numberText(free.meanMinutes);
  return free.kind === "jitter" ? text.jitterText(mean, numberText(free.byMinutes)) : text.freeText(mean);
}

/** "5 cm to the dish, 20 caps laid out, on the board, slot 40 mm."; null where nothing is entered */
export function parametersText(parameters: StageView["parameters"]): string | null {
  const { distanceCm, capsLaid, capsWhere, slotOpeningMm, gramsEach } = parameters;
  const parts = [
    ...(distanceCm === null ? [] : [text.distanceText(numberText(distanceCm, 1))]),
    ...(capsLaid === null ? [] : [text.capsText(capsLaid)]),
    ...(capsWhere === null ? [] : [capsWhere]),
    ...(slotOpeningMm === null ? [] : [text.slotText(numberText(slotOpeningMm, 1))]),
    ...(gramsEach === null ? [] : [text.gramsEachText(gramsEach < 10 ? gramsText(gramsEach) : massText(gramsEach))]),
  ];
  return parts.length === 0 ? null : toSentence(parts.join(", "));
}
const gramsText = (grams: number) => gramsUnitText(numberText(grams, 1));

/** When the birds are ready for the next stage, and when it goes back. */
export function criterionText({ criterion, stepBack, usualDays }: StageView): string {
  const parts = [
    text.criterionText(shareText(criterion.share), criterion.days, criterion.actsADay),
    text.stepBackText(shareText(stepBack.share)),
    text.usualDaysText(usualDays.from, usualDays.to),
  ];
  return capitalize(`${parts.join("; ")}.`);
}

export const usesCaps = ({ kind }: StageView) => kind !== "comeForFood" && kind !== "pressForFood";
