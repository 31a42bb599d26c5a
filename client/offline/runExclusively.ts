/** As long as one exchange may take, and a little. */
const lockTimeoutMs = 20_000;

/**
 * Lets one at a time send what waits, among all windows and the worker of this browser (Web Locks API). Whoever can't have
 * the turn in time sends all the same: each act has an id of its own, by which a second sending is no second act.
 */
export async function runExclusively<T>(work: () => Promise<T>): Promise<T> {
  const locks = (navigator as Partial<Navigator>).locks; // only over HTTPS
  if (locks === undefined) return work();
  let begun = false;
  const turn = () => {
    begun = true;
    return work();
  };
  try {
    return await locks.request("pieward-sending", { signal: AbortSignal.timeout(lockTimeoutMs) }, turn);
  } catch (cause) {
    if (begun) throw cause;
    return work();
  }
}
