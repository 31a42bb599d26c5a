/**
 * A pure function that is asked the same few things again and again, with its answers kept: they cost a look-up then. Such a
 * memory is no state, since nobody can tell it from reckoning anew. When it is full it begins afresh.
 */
export function memoize<Args extends readonly unknown[], Answer>(
  most: number,
  keyOf: (...args: Args) => string,
  reckon: (...args: Args) => Answer,
): (...args: Args) => Answer {
  const known = new Map<string, Answer>();
  return (...args) => {
    const key = keyOf(...args);
    const before = known.get(key);
    if (before !== undefined) return before;
    const answer = reckon(...args);
    if (known.size >= most) known.clear();
    known.set(key, answer);
    return answer;
  };
}
