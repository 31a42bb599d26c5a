import { useState } from "preact/hooks";
import * as text from "#text/deleteAccount.ts";
import { deleteSummary, yourPassphraseLabel } from "#text/forms.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { forgetEverything } from "../state/home.ts";
import { Choice, Field, FormError, useFormSubmit } from "./field.tsx";

/** Deletes the person's own account. The last keeper of a yard sees what is deleted with it, and has to agree. */
export function DeleteAccount() {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const [lastKeeper, setLastKeeper] = useState<string | null>(null);
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const deleted = await send(() =>
      deleteAccount({
        passphrase: String(data.get("passphrase") ?? ""),
        ...(data.has("withYards") ? { withYards: true } : {}),
      }),
    );
    if (deleted === null) return;
    setLastKeeper(deleted.obstacle);
    if (deleted.obstacle === null) await forgetEverything();
  };
  return (
    <section class="subsection" aria-labelledby="delete-title">
      <h2 id="delete-title">{text.title}</h2>
      <details>
        <summary>{deleteSummary}</summary>
        <p>{text.consequencesText}</p>
        <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
          <FormError text={formError} />
          <Field
            label={yourPassphraseLabel}
            problem={problems.passphrase}
            input={{ name: "passphrase", type: "password", autocomplete: "current-password", required: true }}
          />
          {lastKeeper !== null && <YardsToo reason={lastKeeper} />}
          <div class="actions">
            <button type="submit" class="danger" disabled={sending}>
              {text.deleteLabel}
            </button>
          </div>
        </form>
      </details>
    </section>
  );
}

const YardsToo = ({ reason }: { readonly reason: string }) => (
  <>
    <p class="notice warning" role="alert">
      {reason}
    </p>
    <Choice type="checkbox" label={text.withYardsLabel} input={{ name: "withYards" }} />
  </>
);

/** @returns why the account can't be deleted without its yards; null where it is deleted */
async function deleteAccount(
  request: Parameters<typeof laterApi.deleteAccount>[0],
): Promise<ApiResult<{ readonly obstacle: string | null }>> {
  const result = await laterApi.deleteAccount(request);
  if (result.kind === "problem" && result.problem.status === 409)
    return { kind: "ok", value: { obstacle: result.problem.detail } };
  return result.kind === "ok" ? { kind: "ok", value: { obstacle: null } } : result;
}
