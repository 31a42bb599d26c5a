/**
 * What would be lost if this page were loaded anew just now: forms that somebody has written in, what is being sent, and
 * secrets that are shown only once. A form counts until its screen is left: what comes of sending it is shown there.
 */
const edited = new Set<HTMLFormElement>();
let sending = 0;

export function watchForms(): void {
  document.addEventListener("input", ({ target }) => {
    const form = target instanceof Element ? target.closest("form") : null;
    if (form !== null) edited.add(form);
  });
}

export async function whileSending<T>(work: () => Promise<T>): Promise<T> {
  sending += 1;
  try {
    return await work();
  } finally {
    sending -= 1;
  }
}

export function hasUnsaved(): boolean {
  for (const form of edited) if (!form.isConnected) edited.delete(form);
  return edited.size > 0 || sending > 0 || document.querySelector(".copied") !== null;
}
