/**
 * Resolves in a turn of the event loop that no other caller gets. Long work waits for one, so that what arrives meanwhile, a keeper's
 * pause above all, waits for one piece of it at most, however many reports have come together.
 */
export function ownEventLoopTurn(): Promise<void> {
  last = last.then(() => new Promise<void>((resolve) => setImmediate(resolve)));
  return last;
}

let last: Promise<void> = Promise.resolve();
