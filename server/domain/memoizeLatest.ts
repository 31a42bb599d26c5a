/**
 * A pure function with its latest result stored, for calls with the same arguments in a row. Arguments are compared by identity,
 * which is cheap. That is no state: the result is the same as without.
 */
export function memoizeLatest<Args extends readonly unknown[], Answer>(
  compute: (...args: Args) => Answer,
): (...args: Args) => Answer {
  let latest: { readonly args: Args; readonly answer: Answer } | null = null;
  return (...args) => {
    if (latest?.args.every((arg, index) => arg === args[index])) return latest.answer;
    latest = { args, answer: compute(...args) };
    return latest.answer;
  };
}
