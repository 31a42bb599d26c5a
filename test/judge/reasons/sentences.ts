import { texts } from "../../../server/text/index.ts";
import type { BirdSensor, Claim, Sensor, Sign } from "./claims.ts";
import { causes, current, fewerPieces, foodProof, numbered, stopEvidence, uses } from "./fragments.ts";
import { type CatalogueText, numberOf, readText, readWholeText, spanOf } from "./patterns.ts";

/**
 * Every sentence that a reason may have, from the server's own texts, with what it asserts. A sentence that isn't here is an error of
 * its own: whoever writes a new one says what it asserts.
 */
type Row = readonly [CatalogueText, (...values: string[]) => readonly Claim[] | null];

/** @returns null where a sentence is not known. */
export function readReason(reason: string): readonly Claim[] | null {
  if (readWholeText(texts.feederReports.trouble, reason) !== null) return []; // the feeder's own words
  const claims: Claim[] = [];
  for (let rest = reason; rest !== ""; ) {
    const read = readSentence(rest);
    if (read === null) return null;
    claims.push(...read.claims);
    rest = read.rest;
  }
  return claims;
}

function readSentence(words: string): { readonly claims: readonly Claim[]; readonly rest: string } | null {
  for (const [text, claimsOf] of sentences) {
    const read = readText(text, words);
    const claims = read === null ? null : claimsOf(...read.values);
    if (read !== null && claims !== null) return { claims, rest: read.rest };
  }
  return null;
}

/** All parts, or null where one of them isn't known. */
function all(...parts: readonly (readonly Claim[] | null)[]): readonly Claim[] | null {
  return parts.some((part) => part === null) ? null : parts.flatMap((part) => part ?? []);
}

const says =
  (...claims: readonly Claim[]) =>
  () =>
    claims;
const differs = (what: string, value: number, sign: Sign, from: number): Claim => ({
  says: "differs",
  what,
  value,
  sign,
  from,
});

const { feed, hopper, food, sensorFaults, cold, feederReports, orders } = texts;

const stopped: Claim = { says: "noFood" };
const feedSentences: readonly Row[] = [
  [
    feed.trayJammed.reasonWithCurrent,
    (stop = "", drawn = "") => all(stopEvidence(stop), current("higher")(drawn), [stopped]),
  ],
  [feed.trayJammed.reason, (stop = "") => all(stopEvidence(stop), [stopped])],
  [
    feed.feedBridged.reasonWithCurrent,
    (stop = "", drawn = "") => all(stopEvidence(stop), current("lower")(drawn), [stopped]),
  ],
  [feed.feedBridged.reason, (stop = "") => all(stopEvidence(stop), [stopped])],
  [
    feed.hopperEmpty.empty,
    (stop = "", mass = "") => all(stopEvidence(stop), uses("level"), [stopped, { says: "empty" }], [atMost(mass)]),
  ],
  [feed.hopperEmpty.nearlyEmpty, (stop = "") => all(stopEvidence(stop), uses("level"), [stopped, { says: "empty" }])],
  [feed.hopperEmpty.unknownLevel, (stop = "") => all(stopEvidence(stop), [stopped, { says: "empty" }])],
  [feed.motorStalled, (drawn = "") => all(current("higher")(drawn), [stopped])],
  [feed.motorNotTurning, (drawn = "") => all(current("lower")(drawn), [stopped])],
  [feed.motorWasStalled, says(...uses("motorCurrent"), { says: "mayBeOver" })],
  [feed.motorWasNotTurning, says(...uses("motorCurrent"), { says: "mayBeOver" })],
  ...Object.values(feed.fallsAgain).map((text): Row => [text, says({ says: "mayBeOver" })]),
  [(proof: string) => feed.chuteBlind(1, proof), (proof = "") => all(uses("chute"), foodProof(proof), [emptyRun("1")])],
  [feed.chuteMayBeBlind, says(...uses("chute", "scale"))],
  [feed.chuteWasBlind, says(...uses("chute"))],
  [
    feed.chuteBlind,
    (portions = "", proof = "") => all(uses("chute"), foodProof(proof), [emptyRun(portions), atLeastOne(portions)]),
  ],
  [feed.chuteHalfBlind, (proof = "") => all(uses("chute"), foodProof(proof))],
  [feed.chuteSeesLess, (pieces = "", usual = "", proof = "") => all(fewerPieces(pieces, usual), foodProof(proof))],
  [feed.trayPartlyJammed.weighed, (stop = "") => all(stopEvidence(stop), [...uses("scale"), { says: "partFalls" }])],
  [feed.trayPartlyJammed.counted, (stop = "") => all(stopEvidence(stop), [{ says: "partFalls" }])],
  [feed.scaleStuckByChute, says(...uses("chute", "scale"), { says: "notLighter" })],
  [feed.scaleStuckByMotor, says(...uses("scale", "motorCurrent"), { says: "notLighter" }, { says: "currentIsUsual" })],
  [feed.scaleStuckByPortions, says(...uses("scale", "portions"), { says: "notLighter" })],
  [feed.calculatedLevel, says(...uses("level"))],
  [feed.causeNotClear, says()],
  [feed.indistinguishable.thinnedWithoutScale, says(...uses("chute"), { says: "lacks", sensor: "scale" })],
  [feed.indistinguishable.chuteWithoutScale, says(...uses("chute"), { says: "lacks", sensor: "scale" })],
  [feed.indistinguishable.scaleWithoutChute, says(...uses("scale"), { says: "lacks", sensor: "chute" })],
  [feed.indistinguishable.jamWithoutCurrent, says({ says: "lacks", sensor: "motorCurrent" })],
  [feed.indistinguishable.jamBeforeCurrentIsKnown, says(...uses("motorCurrent"))],
  [feed.indistinguishable.bridgeWithoutLevel, says({ says: "lacks", sensor: "level" })],
  [
    feed.unsureWithoutLevel,
    (stop = "", list = "") => all(stopEvidence(stop), causes(list), [{ says: "lacks", sensor: "level" }]),
  ],
  [feed.unsure, (stop = "", list = "") => all(stopEvidence(stop), causes(list))],
];

const emptyRun = (portions: string): Claim => numbered("portions without food", portions);
const atLeastOne = (portions: string): Claim => differs("portions", numberOf(portions), "higher", 0);
const atMost = (mass: string): Claim => ({ says: "leftAtMost", grams: numberOf(mass) });

const { unpaid } = feed;
const paymentSentences: readonly Row[] = [
  [unpaid.nothingFell.press, says(...uses("button", "chute"))],
  [unpaid.nothingFell.deposit, says(...uses("detector", "chute"))],
  [unpaid.cutShort.press, says(...uses("button", "portions"))],
  [unpaid.cutShort.deposit, says(...uses("detector", "portions"))],
  [unpaid.noPortion.press, says(...uses("button"))],
  [unpaid.noPortion.deposit, says(...uses("detector"))],
  [unpaid.inARow, (count = "") => [differs("unpaid in a row", numberOf(count), "higher", 1)]],
];

const hopperSentences: readonly Row[] = [
  [hopper.empty.portions, (mass = "") => [...uses("portions"), { says: "empty" }, atMost(mass)]],
  [hopper.asGoodAsEmpty.portions, (mass = "") => [...uses("portions"), { says: "mayBeEmpty" }, atMost(mass)]],
  [hopper.asGoodAsEmpty.scale, (mass = "") => [...uses("scale"), { says: "mayBeEmpty" }, atMost(mass)]],
  [hopper.stillFalls.portions, (mass = "") => [...uses("chute", "portions"), { says: "mayBeOver" }, atMost(mass)]],
  [hopper.stillFalls.scale, (mass = "") => [...uses("chute", "scale"), { says: "mayBeOver" }, atMost(mass)]],
  [hopper.littleWithoutForecast, (mass = "") => [...uses("level"), numbered("level", mass)]],
  [hopper.empty.scale, (mass = "") => [...uses("scale"), { says: "empty" }, atMost(mass)]],
  [
    hopper.lowWithoutForecast,
    (mass = "") => [...uses("level"), numbered("level", mass), { says: "lessThanATenth", grams: numberOf(mass) }],
  ],
  [hopper.low, (mass = "", forecast = "") => all(uses("level"), [numbered("level", mass)], foodForecast(forecast))],
];

function foodForecast(words: string): readonly Claim[] | null {
  const assuming = readWholeText(food.assumingBoth, words) ?? readWholeText(food.assuming, words);
  if (assuming !== null) return foodForecast(assuming[0] ?? "");
  const known = [food.emptySince, food.enoughUntil, food.veryLikelyEnoughUntil, food.emptyBy, food.mayBeEmptyBy];
  return known.some((text) => readWholeText(text, words) !== null) ? [] : null;
}

const birdSensorNamed = (name: string): BirdSensor | null =>
  (["button", "detector", "perch"] as const).find((sensor) => sensorFaults.names[sensor] === name) ?? null;

export const eventSensors: Readonly<Record<string, Sensor>> = {
  [sensorFaults.events.button]: "button",
  [sensorFaults.events.detector]: "detector",
  [sensorFaults.events.perch]: "perch",
  [sensorFaults.events.slot]: "slotBeam",
};

function silentBeside(name: string, counted: string): readonly Claim[] | null {
  const sensor = birdSensorNamed(name);
  const [, count = "", events = ""] = /^(\d+) (.+)$/.exec(counted) ?? [];
  const companion = eventSensors[events];
  if (sensor === null || companion === undefined) return null;
  return [...uses(sensor, companion), { says: "noSignal", sensor }, numbered(`events of ${events}`, count)];
}

function silentAlone(name: string): readonly Claim[] | null {
  const sensor = birdSensorNamed(name);
  return sensor === null ? null : [...uses(sensor), { says: "noSignal", sensor }, { says: "noCompanion", sensor }];
}

export const readingSensors: Readonly<Record<string, Sensor>> = {
  [sensorFaults.readings.air]: "air",
  [sensorFaults.readings.inside]: "inside",
  [sensorFaults.readings.lid]: "lid",
  [sensorFaults.readings.batteryTemperature]: "batteryTemperature",
  [sensorFaults.readings.humidity]: "humidity",
  [sensorFaults.readings.battery]: "battery",
  [sensorFaults.readings.hopper]: "scale",
  [sensorFaults.readings.supply]: "supply",
  [sensorFaults.readings.chargingCurrent]: "charge",
  [sensorFaults.readings.signal]: "signalDbm",
  [sensorFaults.names.button]: "button",
  [sensorFaults.names.detector]: "detector",
  [sensorFaults.names.perch]: "perch",
  [sensorFaults.names.chute]: "chute",
};

/** "button and the perch sensor": each must be there. */
function named(names: string): readonly Claim[] | null {
  const sensors = names.split(/ and the /).map((name) => readingSensors[name]);
  return sensors.includes(undefined) ? null : uses(...(sensors as Sensor[]));
}

const sensorSentences: readonly Row[] = [
  [sensorFaults.silentSinceBesideOthers, (name = "", counted = "") => silentBeside(name, counted)],
  [sensorFaults.silentBesideOthers, (name = "", counted = "") => silentBeside(name, counted)],
  [sensorFaults.silentSinceAlone, (name = "") => silentAlone(name)],
  [sensorFaults.silentAlone, (name = "") => silentAlone(name)],
  [sensorFaults.chatter.reason, (name = "") => named(name)],
  [sensorFaults.chatter.bursts, (name = "") => named(name)],
  [sensorFaults.chatter.others, (names = "") => named(names)],
  [
    sensorFaults.stuck.reason,
    (name = "", span = "", longest = "") =>
      all(named(name), [differs("time without a change", spanOf(span), "higher", spanOf(longest))]),
  ],
  [sensorFaults.stuck.others, (names = "") => named(names)],
  [sensorFaults.impossible.one, (name = "") => named(name)],
  [sensorFaults.impossible.several, (names = "") => named(names)],
  [
    sensorFaults.totalFell.reason,
    (name = "", from = "", to = "") => all(named(name), [differs("total", numberOf(to), "lower", numberOf(from))]),
  ],
  [sensorFaults.scale.neverReported, says({ says: "noWeight" })],
  [
    sensorFaults.scale.missing,
    (reports = "") => [...uses("scale"), { says: "noWeight" }, numbered("reports without a weight", reports)],
  ],
  [sensorFaults.scale.unchangedThoughSeen, says(...uses("scale", "chute"), { says: "weightUnchanged" })],
  [sensorFaults.scale.unchangedThoughGiven, says(...uses("scale", "portions"), { says: "weightUnchanged" })],
];

const sensorsOfPlace: Readonly<Record<string, readonly Claim[]>> = {
  [cold.frost.place.lid]: uses("lid"),
  [cold.frost.place.inside]: uses("inside"),
};
const temperatureAt = (place: string, temperature: string): readonly Claim[] => [
  ...(sensorsOfPlace[place] ?? []),
  numbered(`temperature at ${place}`, temperature),
];
const estimated = (temperature: string): readonly Claim[] => [
  numbered(`temperature at ${cold.frost.place.lid}`, temperature),
  { says: "lacks", sensor: "lid" },
];
const frozen = (temperature: string): Claim => differs("temperature", numberOf(temperature), "atMost", thawDeadband);
/** Ice stays for a little above freezing: rounded, and with a thermometer's error. */
const thawDeadband = 1;
const frozenAt = (place = "", temperature = ""): readonly Claim[] => [
  ...temperatureAt(place, temperature),
  frozen(temperature),
];
const frozenByEstimate = (temperature = ""): readonly Claim[] => [...estimated(temperature), frozen(temperature)];
/** What a keeper reads must be near the freezing point that is named: handbooks differ by 3 °C, and an alarm stays on for 2 more. */
const freezingMargin = 5.5;

const coldSentences: readonly Row[] = [
  [cold.caking.dampReason, says(...uses("humidity"))],
  [cold.caking.reason, says()],
  [cold.charging.reason.battery, (temperature = "") => [...uses("charge", "batteryTemperature"), frozen(temperature)]],
  [cold.charging.reason.box, (temperature = "") => [...uses("charge", "inside"), frozen(temperature)]],
  [
    cold.charging.earlierReason.battery,
    (temperature = "") => [...uses("charge", "batteryTemperature"), frozen(temperature)],
  ],
  [cold.charging.earlierReason.box, (temperature = "") => [...uses("charge", "inside"), frozen(temperature)]],
  [
    cold.freezingBattery.reason.battery,
    (at = "", _volts = "", freezing = "") => [...uses("battery", "batteryTemperature"), nearFreezing(at, freezing)],
  ],
  [
    cold.freezingBattery.reason.box,
    (at = "", _volts = "", freezing = "") => [...uses("battery", "inside"), nearFreezing(at, freezing)],
  ],
  [
    cold.frost.growing,
    (place = "", at = "", frostPoint = "") => [
      ...uses("humidity"),
      ...temperatureAt(place, at),
      differs("temperature", numberOf(at), "atMost", numberOf(frostPoint)),
    ],
  ],
  [
    cold.frost.growingByEstimate,
    (at = "", frostPoint = "") => [
      ...uses("humidity"),
      ...estimated(at),
      differs("temperature", numberOf(at), "atMost", numberOf(frostPoint)),
    ],
  ],
  [cold.frost.remaining, frozenAt],
  ...Object.values(cold.frost.frozenWater).map((text): Row => [text, frozenAt]),
  ...Object.values(cold.frost.frozenWaterByEstimate).map((text): Row => [text, frozenByEstimate]),
  [
    cold.weakSupply.reason,
    (_sags = "", _runs = "", minimum = "", lowest = "") => [
      ...uses("supply"),
      differs("supply voltage", numberOf(lowest), "atMost", numberOf(minimum)),
    ],
  ],
  [cold.detectorDrift.bySignals, says(...uses("detector"))],
  [cold.detectorDrift.sinceFreezing, says(...uses("detector", "slotBeam"))],
  ...Object.values(cold.capacity).map((text): Row => [text, says()]),
];

const nearFreezing = (at: string, freezing: string): Claim =>
  differs("temperature", numberOf(at), "atMost", numberOf(freezing) + freezingMargin);

/** Of reports and orders: what people and programs did, which no sensor can contradict. */
function allTexts(group: object): readonly Row[] {
  return Object.values(group).flatMap((text): readonly Row[] =>
    typeof text === "object" && text !== null ? allTexts(text) : [[text as CatalogueText, says()]],
  );
}

const reportSentences: readonly Row[] = [
  [
    feederReports.silent,
    (span = "", interval = "") => [differs("time without reports", spanOf(span), "higher", spanOf(interval))],
  ],
  [feederReports.unreadable, says()],
  [feederReports.bootReused, says()],
  [feederReports.irregular, says()],
  ...allTexts(orders),
];

const sentences: readonly Row[] = [
  ...feedSentences,
  ...paymentSentences,
  ...hopperSentences,
  ...sensorSentences,
  ...coldSentences,
  ...reportSentences,
];
