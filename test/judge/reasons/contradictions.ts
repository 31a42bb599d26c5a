import { type FaultKind, faultsStoppingFood } from "../../../server/domain/faults.ts";
import { type Instant, minutes } from "../../../server/domain/instant.ts";
import type { BirdSensor, Claim, ClaimOf, NumberName, Words } from "./claims.ts";
import { readEvidence } from "./evidenceLines.ts";
import type { FeederRecord } from "./feederRecord.ts";
import { canShow, countsAsUsual, fellWholly, lossOf, lostWeight, median, trailingEmpty } from "./recordedFood.ts";
import { readReason } from "./sentences.ts";

/**
 * Where the words of an alarm contradict what the feeder has sent:
 * - `sensor`: they name one that it doesn't have, or say that it lacks one that it has;
 * - `sign`: a change is offered as a sign though it goes the other way;
 * - `opposite`: the newest report proves the opposite;
 * - `stale`: the numbers are those of a while ago, or the reason's are not those of the evidence;
 * - `unknown`: a sentence or a label of which sentences.ts and evidenceLines.ts don't say what it asserts.
 */
export const rules = ["sensor", "sign", "opposite", "stale", "unknown"] as const;
export type Rule = (typeof rules)[number];

export interface Contradiction {
  readonly rule: Rule;
  readonly what: string;
}

/** What the server itself shows at that moment. */
export interface Shown {
  readonly levelGrams: number | null;
  readonly portionGrams: number; // as learnt
  readonly capacityGrams: number;
  readonly refilledAt: Instant | null; // entered or found
}

export function findContradictions(
  fault: FaultKind,
  words: Words,
  record: FeederRecord,
  shown: Shown,
): readonly Contradiction[] {
  const { claims, unknown } = readWords(words, stopFaults.has(fault) ? [{ says: "noFood" }] : []);
  const found = [...unknown];
  for (const claim of new Map(claims.map((claim) => [JSON.stringify(claim), claim])).values()) {
    const what = contradictionOf(claim, { claims, record, shown });
    if (what !== null) found.push(what);
  }
  return [...found, ...differentNumbers(claims)];
}

interface ReadWords {
  readonly claims: readonly Claim[];
  readonly unknown: readonly Contradiction[];
}

/** What the fault itself says, under any of its names; the last food trickles, so an empty hopper says it by its own words. */
const stopFaults: ReadonlySet<FaultKind> = new Set(faultsStoppingFood.filter((fault) => fault !== "foodOut"));

function readWords({ reason, evidence }: Words, saidByFault: readonly Claim[]): ReadWords {
  const unknown: Contradiction[] = [];
  const readOr = (claims: readonly Claim[] | null, words: string): readonly Claim[] => {
    if (claims === null) unknown.push({ rule: "unknown", what: words });
    return claims ?? [];
  };
  const reasonClaims = readOr(readReason(reason), reason);
  const claims = [
    ...(reasonClaims.some(({ says }) => says === "mayBeOver" || says === "partFalls") ? [] : saidByFault),
    ...reasonClaims,
    ...evidence.flatMap((line) => readOr(readEvidence(line), line.label)),
  ];
  return { claims, unknown };
}

interface Context {
  readonly claims: readonly Claim[];
  readonly record: FeederRecord;
  readonly shown: Shown;
}

function contradictionOf(claim: Claim, context: Context): Contradiction | null {
  switch (claim.says) {
    case "uses":
    case "lacks":
      return sensorContradiction(claim, context);
    case "differs":
      return hasSign(claim)
        ? null
        : { rule: "sign", what: `${claim.what} ${claim.value}, not ${claim.sign} ${claim.from}` };
    case "currentIsUsual":
      return isUsualCurrent(context.claims) ? null : { rule: "sign", what: "the current is not the usual one" };
    case "lessThanATenth":
      return claim.grams <= 0.1 * context.shown.capacityGrams + roundedBy
        ? null
        : { rule: "sign", what: `${claim.grams} g are more than a tenth` };
    case "number":
      return staleNumber(claim, context);
    case "isPresent":
    case "isToCome":
    case "lastFell":
      return staleMoment(claim, context);
    case "currentsAreUsual":
      return areUsualCurrents(context) ? null : { rule: "sign", what: "the currents are not the usual ones" };
    case "lastSignal": // beside "no signal"
    case "mayBeOver":
      return null;
    default:
      return oppositeOf(claim, context);
  }
}

/** A level under 20 g is shown to a gram, one under 100 g to 5 g. */
const roundedBy = 5;

// --- sensors and signs -----------------------------------------------------------------------------------------------

function sensorContradiction(
  { says, sensor }: ClaimOf<"uses" | "lacks">,
  { record, shown }: Context,
): Contradiction | null {
  const has = sensor === "level" ? shown.levelGrams !== null : record.has(sensor);
  if (says === "uses") return has ? null : { rule: "sensor", what: `has no ${sensor}` };
  return has ? { rule: "sensor", what: `has a ${sensor}` } : null;
}

function hasSign({ value, sign, from }: ClaimOf<"differs">): boolean {
  if (sign === "atMost") return value <= from;
  return sign === "higher" ? value > from : value < from;
}

/** As with food on the tray: a fifth more or less is another current. Our choice. */
function isUsualCurrent(claims: readonly Claim[]): boolean {
  const [drawn, usual] = [numberNamed(claims, "current"), numberNamed(claims, "usual current")];
  return drawn !== null && usual !== null && Math.abs(Math.log(drawn / usual)) <= Math.log(1.2);
}

/** Of the last ten portions, the middle one. */
function areUsualCurrents({ claims, record }: Context): boolean {
  const usual = numberNamed(claims, "usual current");
  const drawn = median(record.portions.slice(-10).flatMap(({ milliamps }) => milliamps ?? []));
  return usual !== null && drawn !== null && Math.abs(Math.log(drawn / usual)) <= Math.log(1.2);
}

const numberNamed = (claims: readonly Claim[], name: NumberName): number | null =>
  claims.filter((claim) => claim.says === "number").find((claim) => claim.name === name)?.value ?? null;

/** One name, one number, in the reason and in the evidence. */
function differentNumbers(claims: readonly Claim[]): readonly Contradiction[] {
  const known = new Map<string, number>();
  const found: Contradiction[] = [];
  for (const claim of claims) {
    if (claim.says !== "number") continue;
    const other = known.get(claim.name) ?? claim.value;
    known.set(claim.name, claim.value);
    if (other !== claim.value) found.push({ rule: "stale", what: `${claim.name} is ${other} and ${claim.value}` });
  }
  return found;
}

// --- opposites -------------------------------------------------------------------------------------------------------

type Opposable = Exclude<
  Claim,
  ClaimOf<
    | "uses"
    | "lacks"
    | "differs"
    | "number"
    | "isPresent"
    | "isToCome"
    | "lastFell"
    | "lastSignal"
    | "mayBeOver"
    | "currentIsUsual"
    | "currentsAreUsual"
    | "lessThanATenth"
  >
>;

function oppositeOf(claim: Opposable, { claims, record, shown }: Context): Contradiction | null {
  const opposite = (proof: string | null): Contradiction | null =>
    proof === null ? null : { rule: "opposite", what: `${claim.says}: ${proof}` };
  switch (claim.says) {
    case "noFood":
      return opposite(proofOfFood(record, shown));
    case "notLighter":
      return opposite(lostWeight(record, shown.portionGrams, shown.refilledAt));
    case "hardlyAnyFood":
      return opposite(mostFell(record) ? "most of the newest portions fell" : null);
    case "countsLess":
    case "partFalls":
      return opposite(countsAsUsual(record) ? "the newest portions count as usual" : null);
    case "empty":
      return opposite(proofOfFood(record, shown) ?? proofOfPlenty(record, shown));
    case "mayBeEmpty":
      return opposite(proofOfPlenty(record, shown));
    case "leftAtMost":
      return opposite(claim.grams > plentyShare * shown.capacityGrams ? `${claim.grams} g may be left` : null);
    case "lighter":
      return opposite(isNotLighter(claims, record, shown) ? "the weights before and after are the same" : null);
    case "noWeight":
      return opposite(record.reportsWithoutWeight === 0 ? "the newest report has a weight" : null);
    case "weightUnchanged":
      return opposite(isWeightChanged(record) ? "the newest weights differ" : null);
    case "noSignal":
      return opposite(hasSignalSince(claim.sensor, claims, record) ? "it gave a signal since" : null);
    case "noCompanion":
      return opposite(companionSince(claim.sensor, claims, record));
    case "unchanged": {
      const value = record.readings.get(claim.sensor as never);
      return opposite(value !== undefined && Math.abs(value - claim.value) > 0.001 ? `it reads ${value}` : null);
    }
  }
}

function proofOfFood(record: FeederRecord, { portionGrams, refilledAt }: Shown): string | null {
  const newest = record.portions.at(-1);
  if (newest !== undefined && fellWholly(record, newest)) return `${newest.pieces} pieces fell in the newest portion`;
  return lostWeight(record, portionGrams, refilledAt);
}

/** Of the last six whole portions. Our choice. */
function mostFell(record: FeederRecord): boolean {
  const newest = record.portions.slice(-6);
  return newest.length === 6 && newest.filter((portion) => fellWholly(record, portion)).length > 3;
}

/** What lies in the corners, and what a scale may be off by, is less than this. Our choice. */
const plentyShare = 0.2;

/** A reading far off is believed once others confirm it. */
const confirmedReadings = 5;

function proofOfPlenty(record: FeederRecord, { capacityGrams }: Shown): string | null {
  if (!record.has("scale") || record.reportsWithoutWeight > 0) return null;
  const newest = record.weights.slice(-confirmedReadings);
  const isPlenty =
    newest.length === confirmedReadings && newest.every(({ grams }) => grams > plentyShare * capacityGrams);
  return isPlenty ? `${newest.at(-1)?.grams} g are on the scale` : null;
}

const blindSpanDefault = 10; // portions

function isNotLighter(claims: readonly Claim[], record: FeederRecord, { refilledAt, portionGrams }: Shown): boolean {
  const portions = numberNamed(claims, "portions without food") ?? blindSpanDefault;
  const loss = lossOf(record, portions, 0, refilledAt);
  return loss !== null && loss <= 0 && canShow(record, portions, portionGrams);
}

function isWeightChanged({ weights }: FeederRecord): boolean {
  const newest = weights.slice(-3);
  return newest.length === 3 && newest.some(({ grams }) => grams !== newest[0]?.grams);
}

/** A bounce of the contact, or an event that came late. */
const signalSlack = minutes(1);

const lastSignalOf = (claims: readonly Claim[]): Instant | null =>
  claims.find((claim) => claim.says === "lastSignal")?.at ?? null;

function hasSignalSince(sensor: BirdSensor, claims: readonly Claim[], record: FeederRecord): boolean {
  const [told, recorded] = [lastSignalOf(claims), record.lastSignalAt.get(sensor)];
  return recorded !== undefined && told !== null && recorded > told + signalSlack;
}

function companionSince(sensor: BirdSensor, claims: readonly Claim[], record: FeederRecord): string | null {
  const told = lastSignalOf(claims);
  if (told === null) return null;
  for (const [other, at] of record.lastSignalAt)
    if (other !== sensor && at > told + signalSlack) return `the ${other} gave a signal since`;
  return null;
}

// --- stale -----------------------------------------------------------------------------------------------------------

function staleNumber({ name, value }: ClaimOf<"number">, { record, shown }: Context): Contradiction | null {
  const stale = (now: string): Contradiction => ({ rule: "stale", what: `${name} is ${value}, now ${now}` });
  switch (name) {
    case "portions without food": {
      const { least, most } = trailingEmpty(record, shown.refilledAt);
      return value < least || value > most ? stale(`${least} to ${most}`) : null;
    }
    case "current": {
      const drawn = record.portions.at(-1)?.milliamps ?? null;
      return drawn === null || Math.abs(value - drawn) > currentRounding ? stale(`${drawn}`) : null;
    }
    case "level": {
      const level = shown.levelGrams;
      if (level === null) return null;
      return Math.abs(value - level) > levelTolerance(shown, level) ? stale(`${level}`) : null;
    }
    // Less may be left by now, which counts; a refill shows with the next portion.
    case "level at the last portion": {
      const level = shown.levelGrams;
      return level !== null && value > level + levelTolerance(shown, level) ? stale(`${level}`) : null;
    }
    case "reports without a weight":
      return value > record.reportsWithoutWeight ? stale(`${record.reportsWithoutWeight}`) : null;
    default:
      return null;
  }
}

/** Above 100 mA they are told to the next ten. */
const currentRounding = 5.001;
/** A forecast is calculated anew when the level has changed by 2 % of the hopper, the two figures told are as exact as 5 %. */
const levelTolerance = ({ capacityGrams }: Shown, level: number): number => 0.025 * capacityGrams + 0.06 * level;

/** A reading is the present one where no newer one came for so long: a thermometer's follows the box in half an hour. Our choice. */
const presentMax = minutes(30);
/** A forecast is calculated every ten minutes. */
const forecastAgeMax = minutes(11);
const clockSlack = minutes(2);

function staleMoment(claim: ClaimOf<"isPresent" | "isToCome" | "lastFell">, { record }: Context): Contradiction | null {
  switch (claim.says) {
    case "isToCome":
      return claim.at < record.now - forecastAgeMax ? { rule: "stale", what: "a time to come has passed" } : null;
    case "isPresent": {
      const newest = claim.sensor === "motorCurrent" ? record.portions.at(-1)?.at : record.lastReadAt.get(claim.sensor);
      const isOld = newest !== undefined && claim.at < newest - presentMax;
      return isOld ? { rule: "stale", what: `the ${claim.sensor} was read since` } : null;
    }
    case "lastFell": {
      const fell = record.portions.findLast(({ pieces }) => pieces !== null && pieces > 0)?.at;
      const isOld = fell !== undefined && claim.at !== null && claim.at < fell - clockSlack;
      return isOld ? { rule: "stale", what: "food was seen to fall since" } : null;
    }
  }
}
