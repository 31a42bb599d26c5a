import type { ComparedAlarmView, RingView, SettingsComparisonView } from "../contract/api.ts";
import type { LoggedSettings } from "../contract/feederLog.ts";
import type { FaultComparison, FaultRings, Pair, RingCounts } from "../domain/comparison/compareRings.ts";
import type { Ring } from "../domain/comparison/ringRecord.ts";
import { type FaultKind, ruleOf } from "../domain/faults.ts";
import { before, between, days, type Instant, inHours, isoOf } from "../domain/instant.ts";
import type { FeederSettings } from "../domain/settings.ts";
import type { ComparedSettings, ComparisonOutcome, FeederRow, Ports } from "../ports.ts";
import { loggedSettings } from "./pure/loggedSettings.ts";
import { changeSettings, type SettingsChange } from "./pure/requestedSettings.ts";

/** For a keeper who is about to change a feeder's settings: what the last days would have brought with them. */
export async function settingsComparison(
  { clock, settingsComparer }: Pick<Ports, "clock" | "settingsComparer">,
  { id, addedAt, revision, state }: FeederRow,
  { change, daysBack }: { readonly change: SettingsChange; readonly daysBack: number },
  signal: AbortSignal,
): Promise<
  | Exclude<ComparisonOutcome, { kind: "compared" }>
  | { readonly kind: "compared"; readonly view: SettingsComparisonView }
> {
  const to = clock.now();
  const { settings } = state;
  const request = {
    feeder: { id, addedAt, revision },
    settings: loggedSettings(settings),
    overrides: differingSettings(settings, changeSettings(settings, change)),
    from: before(to, days(daysBack)),
    to,
  };
  const outcome = await settingsComparer.compare(request, signal);
  if (outcome.kind !== "compared") return outcome;
  return { kind: "compared", view: viewOf(outcome.compared, request.from, to) };
}

/** Only what differs: everything else stays as the log has it, such as the weeks in which the feeder was put away. */
function differingSettings(present: FeederSettings, proposed: FeederSettings): Pair<LoggedSettings> {
  const sides = [loggedSettings(present), loggedSettings(proposed)] as const;
  const names = [...new Set(sides.flatMap((side) => Object.keys(side)))] as (keyof LoggedSettings)[];
  const differing = new Set(names.filter((name) => JSON.stringify(sides[0][name]) !== JSON.stringify(sides[1][name])));
  // Which sensors there are, and whether others are detected, is one thing.
  if (differing.has("sensors") || differing.has("detectsSensors")) differing.add("sensors").add("detectsSensors");
  const pick = (side: LoggedSettings): LoggedSettings =>
    Object.fromEntries(Object.entries(side).filter(([name]) => differing.has(name as keyof LoggedSettings)));
  return [pick(sides[0]), pick(sides[1])];
}

// --- the answer ----------------------------------------------------------------------------------------------------

/** More would be no help to a person, and a feeder that rings all day would make megabytes. */
const ringsShownMax = 100;

function viewOf(compared: ComparedSettings, requestedFrom: Instant, to: Instant): SettingsComparisonView {
  const { from, replayedFrom, begun, readingsDroppedUntil, isIncomplete, comparison } = compared;
  const [present, proposed] = comparison.totals;
  const [onlyPresent, onlyProposed] = comparison.only;
  return {
    requestedFrom: isoOf(requestedFrom),
    from: isoOf(from),
    to: isoOf(to),
    replayedFrom: isoOf(replayedFrom),
    begun,
    readingsDroppedUntil: readingsDroppedUntil === null ? null : isoOf(readingsDroppedUntil),
    isIncomplete,
    present,
    proposed,
    alarms: comparison.faults.map(alarmView),
    onlyPresent: onlyPresent.slice(0, ringsShownMax).map(ringView),
    onlyProposed: onlyProposed.slice(0, ringsShownMax).map(ringView),
    leftOut: Math.max(0, onlyPresent.length - ringsShownMax) + Math.max(0, onlyProposed.length - ringsShownMax),
  };
}

const alarmView = ({ fault, highest, sides: [present, proposed] }: FaultComparison): ComparedAlarmView => ({
  fault,
  title: titleOf(fault),
  priority: highest,
  present: sideView(present),
  proposed: sideView(proposed),
});

const sideView = ({ counts, firstAt, lastAt, hoursInForce }: FaultRings): ComparedAlarmView["present"] => ({
  ...(counts satisfies RingCounts),
  firstAt: firstAt === null ? null : isoOf(firstAt),
  lastAt: lastAt === null ? null : isoOf(lastAt),
  hoursInForce: tenths(hoursInForce),
});

const ringView = ({ fault, priority, at, endedAt }: Ring): RingView => ({
  fault,
  title: titleOf(fault),
  priority,
  at: isoOf(at),
  hours: endedAt === null ? null : tenths(inHours(between(at, endedAt))),
});

/** This version replayed it, so it knows the fault. */
const titleOf = (fault: string): string => ruleOf(fault as FaultKind).title;

const tenths = (value: number): number => Math.round(value * 10) / 10;
