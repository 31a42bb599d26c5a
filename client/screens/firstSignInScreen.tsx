import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { passphraseLabel } from "#text/common.ts";
import { createLabel, incompleteLinkText, introText, title, yourNameLabel } from "#text/firstSignInScreen.ts";
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

/** The first keeper opens a link with its secret after the #, which browsers do not send, so it is in no log. */
export function FirstSignInScreen() {
  const [token] = useState(() => decodeURIComponent(location.hash.slice(1)));
  return (
    <Screen title={title}>
      {token === "" ? (
        <p>{incompleteLinkText}</p>
      ) : (
        <>
          <p>{introText}</p>
          <AccountForm token={token} />
        </>
      )}
    </Screen>
  );
}

function AccountForm({ token }: { readonly token: string }) {
  const { route } = useLocation();
  const { sending, problems, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const name = readText(data, "name");
    const passphrase = String(data.get("passphrase") ?? "");
    const created = await send(() => laterApi.firstSignIn({ token, name, passphrase, ...ownZone() }));
    if (created === null) return;
    history.replaceState(null, "", "/first-sign-in"); // the secret has done its work
    await startSession(name);
    route("/", true);
  };
  return (
    <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
      <FormError text={problems.token ?? formError} />
      <Field
        label={yourNameLabel}
        problem={problems.name}
        input={{ name: "name", autocomplete: "username", required: true, maxLength: 60 }}
      />
      <Field
        label={passphraseLabel}
        hint={newPassphraseHint}
        problem={problems.passphrase}
        input={{ name: "passphrase", type: "password", autocomplete: "new-password", required: true }}
      />
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {createLabel}
        </button>
      </div>
    </form>
  );
}
