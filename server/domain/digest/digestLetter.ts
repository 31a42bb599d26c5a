import type { LetterPart } from "../letters/letter.ts";
import type { Digest } from "./digest.ts";

/** A digest as it stands in a letter: whole, each section under its heading. */
export const digestLetter = ({ sections }: Digest): readonly LetterPart[] =>
  sections.flatMap(({ heading, lines, opens }): LetterPart[] => [
    { kind: "heading", words: heading },
    { kind: "list", items: lines, ...(opens === undefined ? {} : { opens }) },
  ]);
