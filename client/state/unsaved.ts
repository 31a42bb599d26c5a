/**
 * What a reload would lose: forms with changes, requests under way, and secrets that are shown only once. A form counts until
 * its screen is left, since the result of sending it is shown there.
 */
const editedForms = new Set<HTMLFormElement>();
let sendsInProgress = 0;

export function watchForms(): void {
  document.addEventListener("input", ({ target }) => {
    const form = target instanceof Element ? target.closest("form") : null;
    if (form !== null) editedForms.add(form);
  });
}

export async function countSending<T>(work: () => Promise<T>): Promise<T> {
  sendsInProgress += 1;
  try {
    return await work();
  } finally {
    sendsInProgress -= 1;
  }
}

export function hasUnsaved(): boolean {
  for (const form of editedForms) if (!form.isConnected) editedForms.delete(form);
  return editedForms.size > 0 || sendsInProgress > 0 || document.querySelector(".copyable") !== null;
}
