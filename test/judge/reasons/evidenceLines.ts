import type { Instant } from "../../../server/domain/instant.ts";
import { texts } from "../../../server/text/index.ts";
import type { Claim, Sensor, Words } from "./claims.ts";
import { numbered, uses } from "./fragments.ts";
import { type CatalogueText, numberOf, readWholeText } from "./patterns.ts";
import { eventSensors, readingSensors } from "./sentences.ts";

/** What each line of an alarm's evidence asserts, by its label. */

type Line = Words["evidence"][number];
type Row = readonly [CatalogueText, (line: Line, ...names: string[]) => readonly Claim[]];

/** @returns null where a label is not known. */
export function readEvidence(line: Line): readonly Claim[] | null {
  for (const [label, claimsOf] of lines) {
    const names = readWholeText(label, line.label);
    if (names !== null) return claimsOf(line, ...names);
  }
  return null;
}

const { feed, hopper, sensorFaults, cold, feederReports, orders } = texts;

const no = (): readonly Claim[] => [];
const only =
  (...sensors: readonly Sensor[]) =>
  (): readonly Claim[] =>
    uses(...sensors);

/** Of a sensor's present reading. */
const present = (sensor: Sensor, at: Instant | null): readonly Claim[] =>
  at === null ? uses(sensor) : [...uses(sensor), { says: "isPresent", sensor, at }];

function motorCurrent({ value, at }: Line): readonly Claim[] {
  const [drawn = "", usual = ""] = readWholeText(feed.currentBeside, value) ?? [];
  return [...present("motorCurrent", at), numbered("current", drawn), numbered("usual current", usual)];
}

function level({ value, at }: Line): readonly Claim[] {
  const [mass] = readWholeText(hopper.levelWithRange, value) ?? [];
  const weighed = at === null ? [] : uses("scale");
  return mass === undefined ? [] : [...uses("level"), ...weighed, numbered("level", mass)];
}

function levelAtPortion({ value }: Line): readonly Claim[] {
  if (value === feed.levelUnknown) return [];
  const [mass = ""] = readWholeText(hopper.levelWithRange, value) ?? [];
  return [...uses("level"), numbered("level at the last portion", mass)];
}

const momentOf = (says: "lastFell" | "lastSignal" | "isToCome", at: Instant | null): readonly Claim[] =>
  at === null ? [] : [{ says, at }];
const toCome = ({ at }: Line): readonly Claim[] => momentOf("isToCome", at);
const sensorOf = (name = ""): readonly Claim[] => uses(readingSensors[name] ?? "nobody");
const weight = ({ value, at }: Line): readonly Claim[] => [...present("scale", at), numbered("weight", value)];

const lines: readonly Row[] = [
  [feed.labels.uncounted, ({ value }) => [...uses("chute"), numbered("portions without food", value)]],
  [feed.labels.lastFell, ({ at }) => [...uses("chute"), ...momentOf("lastFell", at)]],
  [feed.labels.motorCurrent, motorCurrent],
  [feed.labels.weight, weight],
  [feed.labels.level, levelAtPortion],
  [feed.labels.noticed, no],
  [feed.unpaid.label.press, only("button")],
  [feed.unpaid.label.deposit, only("detector")],

  [hopper.levelLabel, level],
  [hopper.emptyLimitLabel, no],
  [hopper.possiblyEmptyLabel, toCome],
  [hopper.probablyEmptyLabel, toCome],

  [sensorFaults.lastSignalLabel, ({ at }) => momentOf("lastSignal", at)],
  [
    sensorFaults.eventsSinceLabel,
    ({ value }, events = "") => [...uses(eventSensors[events] ?? "nobody"), numbered(`events of ${events}`, value)],
  ],
  [sensorFaults.usualShareLabel, no],
  [sensorFaults.counterFellLabel, no],
  [sensorFaults.chatter.burstsLabel, (_, name) => sensorOf(name)],
  [sensorFaults.chatter.countsLabel, (_, name) => sensorOf(name)],
  // Before the readings that are called by their sensor.
  [sensorFaults.scale.missingLabel, ({ value }) => [numbered("reports without a weight", value)]],
  [sensorFaults.scale.lastWeightLabel, only("scale")],
  [sensorFaults.scale.unchangedLabel, weight],
  [sensorFaults.scale.seenLabel, only("chute")],
  [sensorFaults.scale.givenLabel, only("portions")],
  [
    sensorFaults.stuck.valueLabel,
    ({ value, at }, name = "") => {
      const sensor = readingSensors[name] ?? "nobody";
      return [...present(sensor, at), { says: "unchanged", sensor, value: numberOf(value) }];
    },
  ],
  [sensorFaults.stuck.spanLabel, (_, name) => sensorOf(name)],
  [sensorFaults.impossible.countLabel, (_, name) => sensorOf(name)],
  [sensorFaults.totalFell.label, (_, name) => sensorOf(name)],
  [cold.caking.cyclesLabel, no],
  [cold.caking.dampHoursLabel, only("humidity")],
  [cold.charging.currentLabel, only("charge")],
  [cold.temperatureOf.battery, ({ at }) => present("batteryTemperature", at)],
  [cold.temperatureOf.box, ({ at }) => present("inside", at)],
  [cold.freezingBattery.voltageLabel, only("battery")],
  [cold.freezingBattery.chargeLabel, only("battery")],
  [cold.freezingBattery.freezingPointLabel, only("battery")],
  [cold.freezingBattery.capacityLabel, no],
  [cold.frost.estimatedTemperatureLabel, ({ value }, place = "") => [numbered(`temperature at ${place}`, value)]],
  [cold.frost.temperatureLabel, temperature],
  [cold.frost.clearSkyLabel, no],
  [cold.frost.frostPointLabel, ({ at }) => present("humidity", at)],
  [cold.frost.lastWetLabel, no],
  [cold.frost.cyclesLabel, no],
  [cold.weakSupply.lowestLabel, only("supply")],
  [cold.weakSupply.minimumLabel, no],
  [cold.weakSupply.runsLabel, no],
  [cold.weakSupply.temperatureLabel, no], // of the battery or of its box
  [cold.weakSupply.usualLabel, only("supply")],
  [cold.detectorDrift.temperatureLabel, no],
  [cold.detectorDrift.notMetalLabel, only("detector")],

  ...[
    feederReports.lastReportLabel,
    feederReports.usualIntervalLabel,
    feederReports.longestGapLabel,
    feederReports.troubleLabel,
    feederReports.firstProblemLabel,
    feederReports.refusedSinceLabel,
    feederReports.bootLabel,
    feederReports.startsLabel,
    orders.requestedLabel,
    orders.statementLabel,
    orders.feedsThoughPaused.confirmedLabel,
    orders.feedsThoughPaused.lastLabel,
  ].map((label): Row => [label, no]),
];

function temperature({ value, at }: Line, place = ""): readonly Claim[] {
  const sensor: Sensor | null =
    place === cold.frost.place.lid ? "lid" : place === cold.frost.place.inside ? "inside" : null;
  return [...(sensor === null ? [] : present(sensor, at)), numbered(`temperature at ${place}`, value)];
}
