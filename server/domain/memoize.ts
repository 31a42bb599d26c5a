/**
 * A pure function that is asked the same few things again and again, with its answers kept: they cost a look-up then. Such a
 * memory is no state, since nobody can tell it from reckoning anew. When it is full it begins afresh.
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
