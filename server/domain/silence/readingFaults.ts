import type { Evidence, Fault } from "../faults.ts";
import { after, between, hours, type Instant, type Span } from "../instant.ts";
import type { FeederSettings } from "../settings.ts";
import { chattersAt } from "./chatter.ts";
import { credibleHold, type Held, type HeldReading, heldReadings, isStuck } from "./heldReadings.ts";
import { type SensorsState, type Tally, witnesses } from "./sensorActivity.ts";
import { isImpossible, nameOfSensor } from "./setAside.ts";
import { inWords } from "./spanWords.ts";

/** Sensors that speak, but not of what is there: they chatter, stand still, say what can't be, or count backwards. */
export function readingFaults(sensors: SensorsState, settings: FeederSettings, now: Instant): Fault[] {
  const faults = [
    chattering(sensors, settings, now),
    stuck(sensors),
    impossible(sensors, settings),
    backwards(sensors, settings, now),
  ];
  return faults.filter((fault) => fault !== null);
}

/** Whether the scale is named already as saying what can't be: that it says nothing else is then no second fault. */
export const scaleIsImpossible = ({ setAside: { hopperGrams } }: SensorsState): boolean =>
  hopperGrams !== undefined && isImpossible(hopperGrams);

const counterName = { button: "button", detector: "detector", perch: "perch sensor", chute: "chute sensor" } as const;

function chattering(sensors: SensorsState, settings: FeederSettings, now: Instant): Fault | null {
  const found = witnesses.filter((sensor) => settings.sensors[sensor] && chattersAt(sensors[sensor].chatter, now));
  const [first] = found;
  if (first === undefined) return null;
  const { counts, from, at } = sensors[first].chatter;
  const others =
    found.length > 1
      ? ` So does the ${found
          .slice(1)
          .map((sensor) => counterName[sensor])
          .join(" and the ")}.`
      : "";
  return {
    kind: "sensorChattering",
    reason: `The ${counterName[first]} counted ${counts} times in ${inWords(between(from, at))}: no bird is so quick for so long.${others}`,
    evidence: found.map((sensor): Evidence => {
      const { chatter } = sensors[sensor];
      return { what: `counts of the ${counterName[sensor]}`, value: String(chatter.counts), at: chatter.from };
    }),
    sure: null,
  };
}

const readingName: { readonly [reading in Exclude<HeldReading, "hopper">]: string } = {
  air: "air thermometer",
  inside: "inside thermometer",
  lid: "lid thermometer",
  batteryTemperature: "battery thermometer",
  humidity: "humidity sensor",
  battery: "battery's meter",
};
const unitOf = (reading: HeldReading) => (reading === "humidity" ? "%" : reading === "battery" ? "V" : "°C");

function stuck({ held }: SensorsState): Fault | null {
  const found: { name: string; held: Held; credible: Span; unit: string }[] = [];
  for (const reading of heldReadings) {
    const one = held[reading];
    if (reading === "hopper" || one === null || !isStuck(reading, one)) continue;
    const credible = credibleHold(reading, one) ?? one.span;
    found.push({ name: readingName[reading], held: one, credible, unit: unitOf(reading) });
  }
  const [first] = found;
  if (first === undefined) return null;
  const others =
    found.length > 1
      ? ` So has the ${found
          .slice(1)
          .map(({ name }) => name)
          .join(" and the ")}.`
      : "";
  return {
    kind: "readingStuck",
    reason:
      `The ${first.name} has said the very same for ${inWords(first.held.span)}, to the last digit. ` +
      `It never did so for longer than ${inWords(first.held.longest)} before.${others}`,
    evidence: found.flatMap(({ name, held: { value, span, at }, credible, unit }): Evidence[] => [
      { what: `${name}, unchanged`, value: `${value} ${unit}`, at },
      { what: `${name}, the same for`, value: inWords(span), at: null },
      { what: `${name}, still credible`, value: inWords(credible), at: null },
    ]),
    sure: null,
  };
}

function impossible({ setAside }: SensorsState, settings: FeederSettings): Fault | null {
  const found = Object.entries(setAside).filter(
    ([name, one]) => isImpossible(one) && (name !== "hopperGrams" || settings.sensors.scale),
  );
  const [first] = found;
  if (first === undefined) return null;
  const names = found.map(([name]) => nameOfSensor(name) ?? name);
  return {
    kind: "readingImpossible",
    reason: `The ${names.join(" and the ")} ${found.length > 1 ? "say" : "says"} what can't be. Such values are set aside and nothing is concluded from them.`,
    evidence: found.map(([name, { times, from }]) => ({
      what: `values of the ${nameOfSensor(name) ?? name} set aside`,
      value: `${times} times`,
      at: from,
    })),
    sure: null,
  };
}

/** How long it is told that a total fell: the next report counts on from there. Our choice. */
const backwardsStands = hours(24);

function backwards(sensors: SensorsState, settings: FeederSettings, now: Instant): Fault | null {
  const found = ([...witnesses, "chute"] as const).flatMap((sensor) => {
    const fell: Tally["backwards"] = sensors[sensor].backwards;
    return fell !== null && settings.sensors[sensor] && now < after(fell.at, backwardsStands) ? [{ sensor, fell }] : [];
  });
  const [first] = found;
  if (first === undefined) return null;
  return {
    kind: "countsBackwards",
    reason: `The running total of the ${counterName[first.sensor]} fell from ${first.fell.from} to ${first.fell.to}, though the feeder hadn't started anew.`,
    evidence: found.map(({ sensor, fell }) => ({
      what: `total of the ${counterName[sensor]}`,
      value: `${fell.from} to ${fell.to}`,
      at: fell.at,
    })),
    sure: null,
  };
}
