/**
 * Answers that index.html itself asked for before this program was loaded (client/build/earlyRequests.ts), by path. Each is
 * used once: whoever asks later wants to know what is so later.
 */
const earlyResponses = (globalThis as { readonly earlyAnswers?: Record<string, Promise<Response> | undefined> })
  .earlyAnswers;

export function takeEarlyResponse(path: string): Promise<Response> | undefined {
  const answer = earlyResponses?.[path];
  if (earlyResponses !== undefined) delete earlyResponses[path];
  return answer;
}

/** Told by `ask`: how many requests are under way, and when the last one ended. */
let requestsInProgress = 0;
const idleListeners = new Set<() => void>();

export async function countRequest<T>(work: () => Promise<T>): Promise<T> {
  requestsInProgress += 1;
  try {
    return await work();
  } finally {
    requestsInProgress -= 1;
    if (requestsInProgress === 0) for (const look of idleListeners) look();
  }
}

const idleMs = 500;

/** Resolves once no request has been under way for half a second: the screen has what it asked for. */
export function untilIdle(): Promise<void> {
  return new Promise((resolve) => {
    let timer: ReturnType<typeof setTimeout> | undefined;
    const look = () => {
      clearTimeout(timer);
      timer = setTimeout(() => {
        if (requestsInProgress > 0) return;
        idleListeners.delete(look);
        resolve();
      }, idleMs);
    };
    idleListeners.add(look);
    look();
  });
}
