import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import {
  incompleteLinkText,
  introText,
  newLinkText,
  newPassphraseLabel,
  saveLabel,
  title,
} from "#text/resetPassphraseScreen.ts";
import { laterApi } from "../api/laterApi.ts";
import { Field, FormError, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { startSession } from "../state/home.ts";
import { newPassphraseHint } from "../text/people.ts";

const resetCommand = "npm run keeper -- reset NAME";

/** A new passphrase by a one-time link, with its secret after the #, which browsers do not send, so it is in no log. */
export function ResetPassphraseScreen() {
  const [token] = useState(() => decodeURIComponent(location.hash.slice(1)));
  return (
    <Screen title={title}>
      {token === "" ? (
        <p>
          {incompleteLinkText} {newLinkText} <code>{resetCommand}</code>.
        </p>
      ) : (
        <ResetForm token={token} />
      )}
    </Screen>
  );
}

function ResetForm({ token }: { readonly token: string }) {
  const { route } = useLocation();
  const { sending, problems, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const passphrase = String(new FormData(event.currentTarget as HTMLFormElement).get("passphrase") ?? "");
    const changed = await send(() => laterApi.resetPassphrase({ token, passphrase }));
    if (changed === null) return;
    history.replaceState(null, "", "/reset"); // the link works once
    await startSession(changed.keeper.name);
    route("/", true);
  };
  return (
    <>
      <p>{introText}</p>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={problems.token ?? formError} />
        <Field
          label={newPassphraseLabel}
          hint={newPassphraseHint}
          problem={problems.passphrase}
          input={{ name: "passphrase", type: "password", autocomplete: "new-password", required: true }}
        />
        <div class="actions">
          <button type="submit" class="main" disabled={sending}>
            {saveLabel}
          </button>
        </div>
      </form>
    </>
  );
}
