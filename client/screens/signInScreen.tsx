import type { ComponentType } from "preact";
import { useEffect, useState } from "preact/hooks";
import { passphraseLabel } from "#text/common.ts";
import { inputKeptText, introText, signedOutText, signInLabel, yourNameLabel } from "#text/signInScreen.ts";
import { api } from "../api/api.ts";
import { Field, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { sessionEnd, startSession } from "../state/home.ts";

export const SignInScreen = () => (
  <Screen title={signInLabel}>
    {sessionEnd.value === null ? (
      <p>{introText}</p>
    ) : (
      <p class="notice" role="status">
        {signedOutText} {sessionEnd.value === "here" && inputKeptText}
      </p>
    )}
    <SignInForm />
    <PasskeyPart />
  </Screen>
);

function SignInForm() {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const name = readText(data, "name");
    const session = await send(() => api.signIn(name, String(data.get("passphrase") ?? "")));
    if (session !== null) await startSession(session.keeper?.name ?? name);
  };
  return (
    <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
      <FormError text={formError} />
      <Field
        label={yourNameLabel}
        problem={problems.name}
        input={{ name: "name", autocomplete: "username", required: true, autocapitalize: "words" }}
      />
      <Field
        label={passphraseLabel}
        problem={problems.passphrase}
        input={{ name: "passphrase", type: "password", autocomplete: "current-password", required: true }}
      />
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {signInLabel}
        </button>
      </div>
    </form>
  );
}

/** Loaded later: a first opening waits for nothing that only passkeys need. */
function PasskeyPart() {
  const [Passkey, setPasskey] = useState<ComponentType | null>(null);
  useEffect(() => {
    import("../components/passkeySignIn.tsx").then(
      (part) => setPasskey(() => part.PasskeySignIn),
      (cause: unknown) => console.warn("Passkeys could not be loaded.", cause), // the passphrase works without them
    );
  }, []);
  return <div class="passkey">{Passkey !== null && <Passkey />}</div>;
}
