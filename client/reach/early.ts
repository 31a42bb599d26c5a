/**
 * Answers that index.html itself asked for before this program was loaded (client/build/earlyRequests.ts), by path. Each is
 * used once: whoever asks later wants to know what is so later.
 */
const early = (globalThis as { readonly earlyAnswers?: Record<string, Promise<Response> | undefined> }).earlyAnswers;

export function takeEarly(path: string): Promise<Response> | undefined {
  const answer = early?.[path];
  if (early !== undefined) delete early[path];
  return answer;
}

/** Told by `ask`: how many requests are under way, and when the last one ended. */
let underWay = 0;
const waitingForQuiet = new Set<() => void>();

export async function counted<T>(work: () => Promise<T>): Promise<T> {
  underWay += 1;
  try {
    return await work();
  } finally {
    underWay -= 1;
    if (underWay === 0) for (const look of waitingForQuiet) look();
  }
}

const quietMs = 500;

/** Resolves once no request has been under way for half a second: the screen has what it asked for. */
export function atRest(): Promise<void> {
  return new Promise((resolve) => {
    let timer: ReturnType<typeof setTimeout> | undefined;
    const look = () => {
      clearTimeout(timer);
      timer = setTimeout(() => {
        if (underWay > 0) return;
        waitingForQuiet.delete(look);
        resolve();
      }, quietMs);
    };
    waitingForQuiet.add(look);
    look();
  });
}
