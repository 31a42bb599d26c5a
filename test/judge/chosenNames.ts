/**
 * The names that a run asks for, as the caller spelled them; all of them where it asks for none.
 * @throws RangeError for one that isn't known: it would be left out in silence
 */
export function chosenNames<Name extends string>(
  what: string,
  asked: readonly string[] | undefined,
  known: readonly Name[],
): readonly Name[] {
  if (asked === undefined) return known;
  return asked.map((text) => {
    const name = known.find((one) => one === text.trim());
    if (name === undefined) throw new RangeError(`${what}: expected some of ${known.join(", ")}, got "${text}"`);
    return name;
  });
}
