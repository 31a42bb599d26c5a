import { numberText, percentText, spanText, temperatureText, voltageText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import { supplyVoltageMin } from "../cold/weakSupply.ts";
import { between, hours, type Instant, inHours, minutes, type Span } from "../instant.ts";
import { type Volts, volts } from "../units.ts";
import { type BenchRun, stepOf } from "./benchRun.ts";
import { type BenchFigure, benchLimits, figure, shareFigure } from "./figure.ts";
import { missedWithin } from "./updateTally.ts";

/** What hours show: reports, power, temperature; and the load cell with a known mass. */
export const enduranceFigures = (run: BenchRun, now: Instant): readonly BenchFigure[] => [
  ...knownMassFigure(run),
  heartbeatsFigure(run, now),
  restartsFigure(run),
  supplyFigure(run),
  soakFigure(run, now),
  temperatureFigure(run),
];

function knownMassFigure({ plan, tally, sensors }: BenchRun): readonly BenchFigure[] {
  const text = texts.benchRun;
  const { knownMass } = plan;
  if (knownMass === null || !sensors.scale) return [];
  const allowed = Math.max(benchLimits.scaleError.grams, benchLimits.scaleError.share * knownMass);
  const limit = text.knownMassLimit(numberText(allowed, 1));
  const { massBefore, massAfter } = tally;
  if (massBefore === null || massAfter === null)
    return [figure("knownMass", "notKnown", text.noneTried, { limit, reason: text.knownMassUnknown })];
  const error = massAfter - massBefore - knownMass;
  const value = text.knownMass(numberText(error, 1), numberText(knownMass, 1));
  return [
    Math.abs(error) > allowed
      ? figure("knownMass", "notMet", value, { limit, reason: text.knownMassWrong })
      : figure("knownMass", "met", value, { limit }),
  ];
}

/** How much of the soak has passed. */
function soaked(run: BenchRun, now: Instant): { readonly from: Instant; readonly span: Span } | null {
  const step = stepOf(run, "soak");
  return step === null ? null : { from: step.from, span: between(step.from, step.to ?? now) };
}

function heartbeatsFigure(run: BenchRun, now: Instant): BenchFigure {
  const text = texts.benchRun;
  const { missedReports, longestGapMinutes, reportsNeeded } = benchLimits;
  const limit = text.heartbeatsLimit(percentText(missedReports), longestGapMinutes);
  const soak = soaked(run, now);
  const expected = soak === null ? 0 : Math.floor(soak.span / run.reportEvery);
  if (soak === null || expected === 0)
    return figure("heartbeats", "notKnown", text.noneTried, { limit, reason: text.heartbeatsFew(0) });
  const { lastAt, missed: missedSoFar, longestGap } = run.tally.heartbeats;
  // What has not come since the last one is missing, too.
  const open = Math.max(0, soak.from + soak.span - (lastAt ?? soak.from)) as Span;
  const missed = Math.min(expected, missedSoFar + missedWithin(open, run.reportEvery));
  const gap = Math.max(open, longestGap);
  const value = text.heartbeats(missed, expected, numberText((100 * missed) / expected, 1), spanText(gap));
  const isTooLong = gap > Math.max(minutes(longestGapMinutes), 3 * run.reportEvery);
  if (missed / expected > missedReports || isTooLong)
    return figure("heartbeats", "notMet", value, { limit, reason: text.heartbeatsMissed });
  return expected < reportsNeeded
    ? figure("heartbeats", "notKnown", value, { limit, reason: text.heartbeatsFew(expected) })
    : figure("heartbeats", "met", value, { limit });
}

function restartsFigure({ tally }: BenchRun): BenchFigure {
  const text = texts.benchRun;
  const limit = text.restartsLimit;
  if (tally.restarts > 0)
    return figure("restarts", "notMet", text.restarts(tally.restarts), { limit, reason: text.restartsSeen });
  return tally.lastAt === null
    ? figure("restarts", "notKnown", text.noneTried, { limit, reason: text.restartsUnknown })
    : figure("restarts", "met", text.restarts(0), { limit });
}

function supplyFigure({ tally }: BenchRun): BenchFigure {
  const text = texts.benchRun;
  const measured = tally.portions.flatMap(({ lowestSupply }) => (lowestSupply === null ? [] : [lowestSupply]));
  const { lowest } = tally.supply;
  if (lowest === null) return figure("supply", "noted", text.supplyNotMeasured);
  if (measured.length === 0) return figure("supply", "noted", text.supplyLowest(voltageText(lowest)));
  const minimum = supplyVoltageMin(usualSupply(tally.supply, measured));
  const sags = measured.filter((voltage) => voltage < minimum).length;
  const judged = shareFigure("supply", sags, measured.length, benchLimits.sags);
  const value = text.supply(voltageText(lowest), voltageText(minimum), sags, measured.length);
  return { ...judged, value, reason: judged.status === "notMet" ? text.supplyWeak : judged.reason };
}

const readingsNeeded = 3;

/** The rail at rest; where the feeder doesn't report it, the highest that it had while the motor ran. */
const usualSupply = ({ count, sum }: BenchRun["tally"]["supply"], measured: readonly Volts[]): Volts =>
  volts(count >= readingsNeeded ? sum / count : Math.max(...measured));

function soakFigure(run: BenchRun, now: Instant): BenchFigure {
  const text = texts.benchRun;
  const limit = text.soakLimit(benchLimits.soakHours);
  const soak = soaked(run, now);
  const value = text.soak(numberText(inHours(soak?.span ?? (0 as Span)), 1), numberText(inHours(run.plan.soak), 1));
  return soak === null || soak.span < hours(benchLimits.soakHours)
    ? figure("soak", "notKnown", value, { limit, reason: text.soakShort })
    : figure("soak", "met", value, { limit });
}

function temperatureFigure({ tally }: BenchRun): BenchFigure {
  const text = texts.benchRun;
  const { temperature } = tally;
  return temperature === null
    ? figure("temperature", "noted", text.temperatureUnknown)
    : figure(
        "temperature",
        "noted",
        text.temperature(temperatureText(temperature.low), temperatureText(temperature.high)),
      );
}
