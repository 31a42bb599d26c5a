/**
 * A pure function with its results stored by arguments. That is no state: the result is the same as without. When it is full it
 * starts again.
 */
export function memoize<Args extends readonly unknown[], Answer>(
  sizeMax: number,
  keyOf: (...args: Args) => string,
  compute: (...args: Args) => Answer,
): (...args: Args) => Answer {
  const cache = new Map<string, Answer>();
  return (...args) => {
    const key = keyOf(...args);
    const stored = cache.get(key);
    if (stored !== undefined) return stored;
    const result = compute(...args);
    if (cache.size >= sizeMax) cache.clear();
    cache.set(key, result);
    return result;
  };
}
