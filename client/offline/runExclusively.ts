/** As long as one request may take, and a little more. */
const lockTimeoutMs = 20_000;

/**
 * Lets only one window or worker of this browser send the queue at a time (Web Locks API). One that waits too long sends all the
 * same: each action has its own id, so sending it twice has one effect.
 */
export async function runExclusively<T>(work: () => Promise<T>): Promise<T> {
  const locks = (navigator as Partial<Navigator>).locks; // only over HTTPS
  if (locks === undefined) return work();
  let begun = false;
  const run = () => {
    begun = true;
    return work();
  };
  try {
    return await locks.request("pieward-sending", { signal: AbortSignal.timeout(lockTimeoutMs) }, run);
  } catch (cause) {
    if (begun) throw cause;
    return work();
  }
}
