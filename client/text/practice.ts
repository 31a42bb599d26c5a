import * as text from "#text/practice.ts";
import type { PracticeFault } from "../../server/contract/api.ts";
import { uncapitalize } from "./amount.ts";

interface PracticeText {
  readonly title: string;
  /** What the keeper can expect to see; the alarm by its title. */
  readonly outcome: string;
  /** The practice feeder that shows it, as the server chooses it; null where both work. */
  readonly feeder: "Rowan" | "Larch" | null;
}

const feederOf = (fault: string): PracticeText["feeder"] =>
  fault === "none" ? null : fault === "weakBattery" ? "Larch" : "Rowan";

/** What a practice fault is called, what comes of it, and where. */
export const practiceFaultText = Object.fromEntries(
  Object.entries(text.practiceFaultTexts).map(([fault, each]) => [fault, { ...each, feeder: feederOf(fault) }]),
) as unknown as Readonly<Record<PracticeFault, PracticeText>>;

/** What was chosen last, and what to wait for. */
export function chosenFaultText(fault: PracticeFault): string {
  const { title, feeder } = practiceFaultText[fault];
  if (feeder === null) return text.noFaultChosenText;
  return fault === "ignoresOrders"
    ? text.pauseToSeeText(feeder, uncapitalize(title))
    : text.faultChosenText(feeder, uncapitalize(title));
}
