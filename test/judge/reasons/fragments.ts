import { texts } from "../../../server/text/index.ts";
import type { Claim, NumberName, Sensor, Sign } from "./claims.ts";
import { type CatalogueText, numberOf, readWholeText } from "./patterns.ts";

/** Parts of sentences that stand in several of them. Null: the words are none of these. */

export const uses = (...sensors: readonly Sensor[]): readonly Claim[] =>
  sensors.map((sensor) => ({ says: "uses", sensor }) as const);

export const numbered = (name: NumberName, text: string): Claim => ({
  says: "number",
  name,
  value: numberOf(text),
});

type Fragment = readonly [CatalogueText, (...values: string[]) => readonly Claim[]];

function readFragment(fragments: readonly Fragment[], words: string): readonly Claim[] | null {
  for (const [text, claims] of fragments) {
    const values = readWholeText(text, words);
    if (values !== null) return claims(...values);
  }
  return null;
}

const { evidence, proof } = texts.feed;
/** What the chute sensor saw, which may be blind: whether food falls is said by the causes. */
const emptyRun = (portions: string): readonly Claim[] => [
  ...uses("chute"),
  numbered("portions without food", portions),
];

/** "about 2.4 pieces instead of about 6". */
export const fewerPieces = (pieces = "", usual = ""): readonly Claim[] => [
  ...uses("chute"),
  { says: "countsLess" },
  { says: "differs", what: "pieces", value: numberOf(pieces), sign: "lower", from: numberOf(usual) },
];

/** "Nothing fell in the last 5 portions, and the hopper isn't empty (about 840 g)". */
export function stopEvidence(words: string): readonly Claim[] | null {
  const withLevel = readWholeText(texts.feed.notEmpty, words);
  if (withLevel !== null) {
    const [stopped = "", mass = ""] = withLevel;
    const claims = stopEvidence(stopped);
    return claims === null ? null : [...claims, ...uses("level"), numbered("level at the last portion", mass)];
  }
  return readFragment(
    [
      [evidence.nothingFell(1), () => emptyRun("1")],
      [evidence.nothingFell, emptyRun],
      [evidence.hardlyAnyFalls, () => [...uses("chute"), { says: "hardlyAnyFood" }]],
      [evidence.countsLess, () => [...uses("chute"), { says: "countsLess" }]],
      [evidence.fewerCounted, fewerPieces],
      [evidence.notLighter, () => [...uses("scale"), { says: "notLighter" }]],
      [evidence.byCurrent, () => uses("motorCurrent")],
    ],
    words,
  );
}

/** Why food must fall, though the chute sensor sees none. */
export const foodProof = (words: string): readonly Claim[] | null =>
  readFragment(
    [
      [proof.lighterAndCurrent, () => [...uses("scale", "motorCurrent"), { says: "lighter" }, usualCurrent]],
      [proof.lighter, () => [...uses("scale"), { says: "lighter" }]],
      [proof.current, () => [...uses("motorCurrent"), usualCurrent]],
      [proof.currents, () => [...uses("motorCurrent"), { says: "currentsAreUsual" }]],
      [proof.others, () => uses("chute")],
    ],
    words,
  );

/** The motor draws what it does with food: read from the numbers beside the reason. */
const usualCurrent: Claim = { says: "currentIsUsual" };

/** "570 mA instead of about 680 mA", by its sign. */
export function current(sign: Sign): (words: string) => readonly Claim[] | null {
  return (words) => {
    const values = readWholeText(texts.feed.current, words);
    if (values === null) return null;
    const [drawn = "", usual = ""] = values;
    return [
      ...uses("motorCurrent"),
      { says: "differs", what: "current", value: numberOf(drawn), sign, from: numberOf(usual) },
      numbered("current", drawn),
      numbered("usual current", usual),
    ];
  };
}

const sensorsOfCause: Readonly<Record<keyof typeof texts.feed.causes, readonly Claim[]>> = {
  hopperEmpty: [{ says: "mayBeEmpty" }],
  feedBridged: [],
  trayJammed: [],
  trayPartlyJammed: uses("chute"),
  motorStalled: [],
  motorNotTurning: [],
  chuteBlind: uses("chute"),
  chuteHalfBlind: uses("chute"),
  scaleStuck: uses("scale"),
};

/** With these, food falls, or a part of it. */
const sensorCauses: ReadonlySet<string> = new Set([
  texts.feed.causes.chuteBlind,
  texts.feed.causes.chuteHalfBlind,
  texts.feed.causes.scaleStuck,
  texts.feed.causes.trayPartlyJammed,
]);

/** "the hopper is empty, the tray is jammed or the scale is stuck". */
export function causes(words: string): readonly Claim[] | null {
  const named = words.split(/, | or /);
  const claims: Claim[] = named.some((text) => sensorCauses.has(text)) ? [] : [{ says: "noFood" }];
  for (const one of named) {
    const cause = Object.entries(texts.feed.causes).find(([, text]) => text === one)?.[0];
    if (cause === undefined) return null;
    claims.push(...sensorsOfCause[cause as keyof typeof sensorsOfCause]);
  }
  return claims;
}
