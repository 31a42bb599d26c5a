import { numberText, spanText } from "../../text/format.ts";
import { texts } from "../../text/index.ts";
import type { Evidence, Fault } from "../faults.ts";
import { after, between, hours, type Instant, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { isChattering } from "./chatter.ts";
import { hasHastyBursts } from "./hastyBursts.ts";
import { isOftenRejected, sensorName } from "./rejectedReadings.ts";
import { birdSensors, type RunningTotal, type SensorActivity, type SensorsState } from "./sensorsState.ts";
import { type ConstantReading, isStuck, type WatchedReading, watchedReadings } from "./stuckReadings.ts";

/** Sensors with wrong readings: they chatter, stay constant, report impossible values, or count backwards. */
export function readingFaults(sensors: SensorsState, settings: FeederSettings, now: Instant): Fault[] {
  const faults = [
    chatterFault(sensors, settings, now),
    stuckFault(sensors),
    impossibleReadingFault(sensors, settings),
    decreasedTotalFault(sensors, settings, now),
  ];
  return faults.filter((fault) => fault !== null);
}

/** Whether the scale has that fault already: that its readings are missing is then no second fault. */
export const isScaleRejected = ({ rejectedReadings: { hopperGrams } }: SensorsState): boolean =>
  hopperGrams !== undefined && isOftenRejected(hopperGrams);

const counterNames = texts.sensorFaults.names;
const listed = (names: readonly string[]): string => names.reduce(texts.sensorFaults.andThe);

function chatterFault(sensors: SensorsState, settings: FeederSettings, now: Instant): Fault | null {
  const found = birdSensors.flatMap((sensor) => {
    const evidence = settings.sensors[sensor] ? chatterEvidence(sensors[sensor], now) : null;
    return evidence === null ? [] : [{ name: counterNames[sensor], ...evidence }];
  });
  const [first] = found;
  if (first === undefined) return null;
  const text = texts.sensorFaults.chatter;
  const reasonOf = first.areBursts ? text.bursts : text.reason;
  const reason = reasonOf(first.name, first.count, spanText(first.span));
  const others = found.slice(1).map(({ name }) => name);
  return {
    kind: "sensorChattering",
    reason: others.length === 0 ? reason : `${reason} ${text.others(listed(others))}`,
    evidence: found.map(
      ({ name, areBursts, count, from }): Evidence => ({
        label: (areBursts ? text.burstsLabel : text.countsLabel)(name),
        value: numberText(count),
        at: from,
      }),
    ),
    confidence: null,
  };
}

interface ChatterEvidence {
  readonly areBursts: boolean;
  readonly count: number;
  readonly from: Instant;
  readonly span: Span;
}

/** It is told that this sensor chatters. */
export const isFoundChattering = (activity: SensorActivity, now: Instant): boolean =>
  chatterEvidence(activity, now) !== null;

/** What shows best that a sensor chatters: it counts on end now, or in bursts over the last days. Null: nothing does. */
function chatterEvidence({ chatter, hasty }: SensorActivity, now: Instant): ChatterEvidence | null {
  if (isChattering(chatter, now)) {
    const { counts, zeroAt, updatedAt } = chatter;
    return { areBursts: false, count: counts, from: zeroAt, span: between(zeroAt, updatedAt) };
  }
  if (!hasHastyBursts(hasty, now) || hasty.burstAt === null) return null;
  return { areBursts: true, count: hasty.bursts, from: hasty.firstAt, span: between(hasty.firstAt, hasty.burstAt) };
}

const readingNames = texts.sensorFaults.readings;
function valueText(reading: WatchedReading, value: number): string {
  const { celsius, percent, volts } = texts.units;
  const unit = reading === "humidity" ? percent : reading === "battery" ? volts : celsius;
  return unit(numberText(value, 3));
}

function stuckFault({ constantReadings }: SensorsState): Fault | null {
  const found: { reading: WatchedReading; held: ConstantReading }[] = [];
  for (const reading of watchedReadings) {
    const constantReading = constantReadings[reading];
    if (reading === "hopper" || constantReading === null || !isStuck(reading, constantReading)) continue;
    found.push({ reading, held: constantReading });
  }
  const [first] = found;
  if (first === undefined) return null;
  const text = texts.sensorFaults.stuck;
  const { reading, held } = first;
  const reason = text.reason(readingNames[reading], spanText(held.constantFor), spanText(held.longestConstant));
  const others = found.slice(1).map((other) => readingNames[other.reading]);
  return {
    kind: "readingStuck",
    reason: others.length === 0 ? reason : `${reason} ${text.others(listed(others))}`,
    evidence: found.flatMap(({ reading, held: { value, constantFor, lastReadAt } }): Evidence[] => [
      { label: text.valueLabel(readingNames[reading]), value: valueText(reading, value), at: lastReadAt },
      { label: text.spanLabel(readingNames[reading]), value: spanText(constantFor), at: null },
    ]),
    confidence: null,
  };
}

function impossibleReadingFault({ rejectedReadings }: SensorsState, settings: FeederSettings): Fault | null {
  const found = Object.entries(rejectedReadings).filter(
    ([name, constantReading]) => isOftenRejected(constantReading) && (name !== "hopperGrams" || settings.sensors.scale),
  );
  const [first] = found;
  if (first === undefined) return null;
  const names = found.map(([name]) => sensorName(name) ?? name);
  const text = texts.sensorFaults.impossible;
  return {
    kind: "readingImpossible",
    reason: (names.length > 1 ? text.several : text.one)(listed(names)),
    evidence: found.map(([name, { count, firstAt }]) => ({
      label: text.countLabel(sensorName(name) ?? name),
      value: text.count(count),
      at: firstAt,
    })),
    confidence: null,
  };
}

/** How long a decrease is shown: the next report counts on from there. Our choice. */
const decreaseShownMax = hours(24);

function decreasedTotalFault(sensors: SensorsState, settings: FeederSettings, now: Instant): Fault | null {
  const found = ([...birdSensors, "chute"] as const).flatMap((sensor) => {
    const decrease: RunningTotal["decrease"] = sensors[sensor].decrease;
    return decrease !== null && settings.sensors[sensor] && now < after(decrease.at, decreaseShownMax)
      ? [{ sensor, fell: decrease }]
      : [];
  });
  const [first] = found;
  if (first === undefined) return null;
  const text = texts.sensorFaults.totalFell;
  return {
    kind: "countsBackwards",
    reason: text.reason(counterNames[first.sensor], first.fell.from, first.fell.to),
    evidence: found.map(({ sensor, fell: decrease }) => ({
      label: text.label(counterNames[sensor]),
      value: texts.sensorFaults.counterFell(decrease.from, decrease.to),
      at: decrease.at,
    })),
    confidence: null,
  };
}
