import { texts } from "../text/index.ts";

/** Names that people type: of themselves, of yards and of feeders. */

/**
 * Invisible characters, or ones that change the direction of the text: with them two names look alike and are different, or one
 * name looks like another (UTS #39, 5.4; RFC 8264, 9.13). Control, format, private and unassigned characters, separators of lines,
 * what Unicode has renderers ignore, and the two that only look empty.
 */
const invisible = /[\p{C}\p{Zl}\p{Zp}\p{Default_Ignorable_Code_Point}\u2800]/u;

/** Variation selectors, such as of a heart. They are removed, since phones add them by themselves. */
const presentationSelectors = /[\uFE0E\uFE0F]/g;

/** One spelling (UAX #15, NFKC), with single spaces. */
export const spelledName = (name: string): string =>
  name.normalize("NFKC").replace(presentationSelectors, "").replace(/\s+/gu, " ").trim();

/** What a name may not be, such as "must not contain …"; null: it may. @param name as `spelledName` spells it */
export function nameProblem(name: string): string | null {
  const character = invisible.exec(name)?.[0];
  if (character !== undefined) {
    const code = (character.codePointAt(0) ?? 0).toString(16).toUpperCase().padStart(4, "0");
    return texts.names.invisible(code);
  }
  return /[\p{L}\p{N}]/u.test(name) ? null : texts.names.noLetter;
}

/**
 * The same for all spellings that people read as the same name: without case and without invisible characters. Upper case
 * comes first, since lower case alone keeps "ß" apart from "SS".
 */
export const nameKey = (name: string): string => {
  const visible = spelledName(name).replace(new RegExp(invisible.source, "gu"), "");
  return spelledName(visible.toUpperCase().toLowerCase());
};
