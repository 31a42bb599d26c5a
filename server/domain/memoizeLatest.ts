/**
 * A pure function that is asked the same thing twice in a row, with its latest answer kept. Arguments are compared by identity, so
 * it costs next to nothing; and like any such memory it is no state, since nobody can tell it from reckoning anew.
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
