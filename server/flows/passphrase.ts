import { passphraseMin } from "../contract/api.ts";
import { nameKey } from "../domain/names.ts";
import type { GuessEstimator } from "../ports.ts";
import { texts } from "../text/index.ts";

/**
 * Requirements for a new passphrase, wherever one is set. NIST SP 800-63B-4, 3.1.1.2: at least 15 characters where it is the only
 * factor, compared with a list of common and expected ones, refused with the reason, and no rule about kinds of characters.
 */

export type PassphraseProblem = { readonly kind: "wrong"; readonly field: "passphrase"; readonly problem: string };

/** @param name of its person. @returns null where it is good */
export async function passphraseProblem(
  estimator: GuessEstimator,
  passphrase: string,
  name: string,
): Promise<PassphraseProblem | null> {
  const problem =
    passphrase.length < passphraseMin
      ? texts.signIn.passphrase.tooShort(passphraseMin)
      : hasName(passphrase, name)
        ? texts.signIn.passphrase.hasName
        : await guessProblem(estimator, passphrase, name);
  return problem === null ? null : { kind: "wrong", field: "passphrase", problem };
}

/** A short name is part of many words, so it counts only as a whole word; a longer one counts anywhere, an initial never. */
function hasName(passphrase: string, name: string): boolean {
  const text = nameKey(passphrase);
  const args = text.split(/[^\p{L}\p{N}]+/u);
  return [nameKey(name), ...nameKey(name).split(" ")]
    .filter((part) => part.length > 1)
    .some((part) => (part.length >= wordLengthMin ? text.includes(part) : args.includes(part)));
}
const wordLengthMin = 4;

/** Of 4: "safely unguessable", more than 10^8 guesses (zxcvbn's own scale). */
const scoreMin = 3;

/**
 * Only so many characters are estimated, since time grows faster than length: 48 characters of a repeated pattern take 0.2 s, 200
 * take 0.6 s and more. More characters can only make it harder to guess.
 */
const estimatedMax = 48;

async function guessProblem(estimator: GuessEstimator, passphrase: string, name: string): Promise<string | null> {
  const expected = [name, ...name.split(" "), "pieward"];
  const { score, warning } = await estimator.estimate(passphrase.slice(0, estimatedMax), expected);
  if (score >= scoreMin) return null;
  return texts.signIn.passphrase.easyToGuess(warnings[warning ?? ""] ?? texts.signIn.passphrase.addWords);
}

const warnings: Readonly<Record<string, string>> = texts.signIn.passphrase.warnings;
