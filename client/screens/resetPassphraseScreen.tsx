import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { laterApi } from "../api/laterApi.ts";
import { Field, FormError, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { startSession } from "../state/home.ts";
import { newPassphraseHint } from "../text/people.ts";

/** A new passphrase by a one-time link, whose secret stands behind the #, so that it never reaches a log. */
export function ResetPassphraseScreen() {
  const { route } = useLocation();
  const [token] = useState(() => decodeURIComponent(location.hash.slice(1)));
  const { sending, problems, said, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const passphrase = String(new FormData(event.currentTarget as HTMLFormElement).get("passphrase") ?? "");
    const done = await send(() => laterApi.resetPassphrase({ token, passphrase }));
    if (done === null) return;
    history.replaceState(null, "", "/reset"); // the link works once
    await startSession(done.keeper.name);
    route("/", true);
  };
  if (token === "") {
    return (
      <Screen title="A new passphrase">
        <p>
          This link is not complete: it should end in # and a secret. Whoever runs the server makes one there with{" "}
          <code>npm run keeper -- reset NAME</code>.
        </p>
      </Screen>
    );
  }
  return (
    <Screen title="A new passphrase">
      <p>Choose a new passphrase. All your devices are signed out by it, and this one is signed in.</p>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={problems.token ?? said} />
        <Field
          label="New passphrase"
          hint={newPassphraseHint}
          problem={problems.passphrase}
          input={{ name: "passphrase", type: "password", autocomplete: "new-password", required: true }}
        />
        <div class="answers">
          <button type="submit" class="main" disabled={sending}>
            Set the passphrase
          </button>
        </div>
      </form>
    </Screen>
  );
}
