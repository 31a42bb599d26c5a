import { useState } from "preact/hooks";
import type { ApiResult } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { forgetEverything } from "../state/home.ts";
import { Choice, Field, FormError, useFormSubmit } from "./field.tsx";

/** The end of one's own account. The last keeper of a yard is told what goes with it, and has to agree. */
export function DeleteAccount() {
  const { sending, problems, said, form, send } = useFormSubmit();
  const [lastKeeper, setLastKeeper] = useState<string | null>(null);
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const passphrase = String(data.get("passphrase") ?? "");
    const withYards = data.has("withYards");
    const answer = await send(async (): Promise<ApiResult<{ readonly why: string | null }>> => {
      const answer = await laterApi.deleteAccount({ passphrase, ...(withYards ? { withYards } : {}) });
      if (answer.kind === "problem" && answer.problem.status === 409) {
        return { kind: "ok" as const, value: { why: answer.problem.detail } };
      }
      return answer.kind === "ok" ? { kind: "ok" as const, value: { why: null } } : answer;
    });
    if (answer === null) return;
    setLastKeeper(answer.why);
    if (answer.why === null) await forgetEverything();
  };
  return (
    <section class="after" aria-labelledby="delete-title">
      <h2 id="delete-title">Delete your account</h2>
      <details>
        <summary>Delete…</summary>
        <p>
          Your name, passphrase, mail address, phones and signed-in devices are deleted, and you are told of no alarm
          any more. What you did at feeders stays in their record with your name. This can't be undone.
        </p>
        <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
          <FormError text={said} />
          <Field
            label="Your passphrase"
            problem={problems.passphrase}
            input={{ name: "passphrase", type: "password", autocomplete: "current-password", required: true }}
          />
          {lastKeeper !== null && (
            <>
              <p class="notice worry" role="alert">
                {lastKeeper}
              </p>
              <Choice type="checkbox" label="Delete these yards too" input={{ name: "withYards" }} />
            </>
          )}
          <div class="answers">
            <button type="submit" class="grave" disabled={sending}>
              Delete my account
            </button>
          </div>
        </form>
      </details>
    </section>
  );
}
