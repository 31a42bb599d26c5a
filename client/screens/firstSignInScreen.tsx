import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { laterApi } from "../api/laterApi.ts";
import { Field, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { listTimeZones } from "../components/zoneField.tsx";
import { startSession } from "../state/home.ts";
import { newPassphraseHint } from "../text/people.ts";

/** A phone may not know its zone, or use a name that no list has: then the yard begins in UTC, and its page offers the list. */
function ownZone(): { readonly zone?: string } {
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  return listTimeZones().includes(zone) ? { zone } : {};
}

/** The first keeper comes by a link whose secret stands behind the #, so that it never reaches a log. */
export function FirstSignInScreen() {
  const { route } = useLocation();
  const [token] = useState(() => decodeURIComponent(location.hash.slice(1)));
  const { sending, problems, said, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const name = readText(data, "name");
    const done = await send(() =>
      laterApi.claim({
        token,
        name,
        passphrase: String(data.get("passphrase") ?? ""),
        ...ownZone(),
      }),
    );
    if (done === null) return;
    history.replaceState(null, "", "/first-sign-in"); // the secret has done its work
    await startSession(name);
    route("/", true);
  };
  return (
    <Screen title="A new notebook">
      {token === "" ? (
        <p>This link is not whole: it should end in # and a secret. Open it again from where the server wrote it.</p>
      ) : (
        <>
          <p>
            You are the first keeper here. Choose a name and a passphrase; nobody else can open this link after you.
          </p>
          <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
            <FormError text={problems.token ?? said} />
            <Field
              label="Your name"
              problem={problems.name}
              input={{ name: "name", autocomplete: "username", required: true, maxLength: 60 }}
            />
            <Field
              label="Passphrase"
              hint={newPassphraseHint}
              problem={problems.passphrase}
              input={{
                name: "passphrase",
                type: "password",
                autocomplete: "new-password",
                required: true,
              }}
            />
            <div class="answers">
              <button type="submit" class="main" disabled={sending}>
                Begin the notebook
              </button>
            </div>
          </form>
        </>
      )}
    </Screen>
  );
}
