/**
 * Responses that index.html requested before this program was loaded (client/build/earlyRequests.ts), by path. Each is used
 * once: a later request needs the later state.
 */
const earlyResponses = (globalThis as { readonly earlyAnswers?: Record<string, Promise<Response> | undefined> })
  .earlyAnswers;

export function takeEarlyResponse(path: string): Promise<Response> | undefined {
  const result = earlyResponses?.[path];
  if (earlyResponses !== undefined) delete earlyResponses[path];
  return result;
}

/** How many requests are under way. */
let requestsInProgress = 0;
const idleListeners = new Set<() => void>();

export async function countRequest<T>(work: () => Promise<T>): Promise<T> {
  requestsInProgress += 1;
  try {
    return await work();
  } finally {
    requestsInProgress -= 1;
    if (requestsInProgress === 0) for (const check of idleListeners) check();
  }
}

const idleMs = 500;

/** Resolves once no request has been under way for half a second: the screen has what it needs. */
export function untilIdle(): Promise<void> {
  return new Promise((resolve) => {
    let timer: ReturnType<typeof setTimeout> | undefined;
    const check = () => {
      clearTimeout(timer);
      timer = setTimeout(() => {
        if (requestsInProgress > 0) return;
        idleListeners.delete(check);
        resolve();
      }, idleMs);
    };
    idleListeners.add(check);
    check();
  });
}
