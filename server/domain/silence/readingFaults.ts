import { spanText } from "../../text/format.ts";
import type { Evidence, Fault } from "../faults.ts";
import { after, between, hours, type Instant } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { isChattering } from "./chatter.ts";
import { isOftenRejected, sensorName } from "./rejectedReadings.ts";
import { birdSensors, type RunningTotal, type SensorsState } from "./sensorActivity.ts";
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

const counterNames = { button: "button", detector: "detector", perch: "perch sensor", chute: "chute sensor" } as const;

function chatterFault(sensors: SensorsState, settings: FeederSettings, now: Instant): Fault | null {
  const found = birdSensors.filter((sensor) => settings.sensors[sensor] && isChattering(sensors[sensor].chatter, now));
  const [first] = found;
  if (first === undefined) return null;
  const { counts, zeroAt, updatedAt } = sensors[first].chatter;
  const others =
    found.length > 1
      ? ` So does the ${found
          .slice(1)
          .map((sensor) => counterNames[sensor])
          .join(" and the ")}.`
      : "";
  return {
    kind: "sensorChattering",
    reason: `The ${counterNames[first]} counted ${counts} times in ${spanText(between(zeroAt, updatedAt))}, more than birds can cause.${others}`,
    evidence: found.map((sensor): Evidence => {
      const { chatter } = sensors[sensor];
      return { label: `counts of the ${counterNames[sensor]}`, value: String(chatter.counts), at: chatter.zeroAt };
    }),
    confidence: null,
  };
}

const readingNames: { readonly [reading in Exclude<WatchedReading, "hopper">]: string } = {
  air: "air thermometer",
  inside: "inside thermometer",
  lid: "lid thermometer",
  batteryTemperature: "battery thermometer",
  humidity: "humidity sensor",
  battery: "battery's meter",
};
const unitOf = (reading: WatchedReading) => (reading === "humidity" ? "%" : reading === "battery" ? "V" : "°C");

function stuckFault({ constantReadings }: SensorsState): Fault | null {
  const found: { name: string; held: ConstantReading; unit: string }[] = [];
  for (const reading of watchedReadings) {
    const constantReading = constantReadings[reading];
    if (reading === "hopper" || constantReading === null || !isStuck(reading, constantReading)) continue;
    found.push({
      name: readingNames[reading],
      held: constantReading,
      unit: unitOf(reading),
    });
  }
  const [first] = found;
  if (first === undefined) return null;
  const others =
    found.length > 1
      ? ` The same is true of the ${found
          .slice(1)
          .map(({ name }) => name)
          .join(" and the ")}.`
      : "";
  return {
    kind: "readingStuck",
    reason:
      `The ${first.name} has not changed for ${spanText(first.held.constantFor)}. ` +
      `Before, it never stayed the same for longer than ${spanText(first.held.longestConstant)}.${others}`,
    evidence: found.flatMap(({ name, held: { value, constantFor, lastReadAt }, unit }): Evidence[] => [
      { label: `${name}, unchanged`, value: `${value} ${unit}`, at: lastReadAt },
      { label: `${name}, the same for`, value: spanText(constantFor), at: null },
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
  return {
    kind: "readingImpossible",
    reason: `The ${names.join(" and the ")} ${found.length > 1 ? "report" : "reports"} impossible values. They are ignored.`,
    evidence: found.map(([name, { count, firstAt }]) => ({
      label: `values of the ${sensorName(name) ?? name} ignored`,
      value: `${count} times`,
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
  return {
    kind: "countsBackwards",
    reason: `The running total of the ${counterNames[first.sensor]} fell from ${first.fell.from} to ${first.fell.to}, although the feeder did not restart.`,
    evidence: found.map(({ sensor, fell: decrease }) => ({
      label: `total of the ${counterNames[sensor]}`,
      value: `${decrease.from} to ${decrease.to}`,
      at: decrease.at,
    })),
    confidence: null,
  };
}
