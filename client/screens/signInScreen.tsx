import type { ComponentType } from "preact";
import { useEffect, useState } from "preact/hooks";
import { api } from "../api/api.ts";
import { Field, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { sessionEnd, startSession } from "../state/home.ts";

export function SignInScreen() {
  const { sending, problems, said, form, send } = useFormSubmit();
  const [Passkey, setPasskey] = useState<ComponentType | null>(null);
  useEffect(() => {
    import("../components/passkeySignIn.tsx").then(
      (part) => setPasskey(() => part.PasskeySignIn),
      (cause: unknown) => console.warn("Passkeys could not be loaded.", cause), // the passphrase is there without them
    );
  }, []);
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const name = readText(data, "name");
    const done = await send(() => api.signIn(name, String(data.get("passphrase") ?? "")));
    if (done !== null) await startSession(done.keeper?.name ?? name);
  };
  return (
    <Screen title="Sign in">
      {sessionEnd.value === null ? (
        <p>The keeper's notebook is private. Who is reading?</p>
      ) : (
        <p class="notice" role="status">
          {sessionEnd.value === "here"
            ? "You were signed out. Sign in again to go on; what you entered is kept."
            : "You were signed out. Sign in again to go on."}
        </p>
      )}
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={said} />
        <Field
          label="Keeper's name"
          problem={problems.name}
          input={{ name: "name", autocomplete: "username", required: true, autocapitalize: "words" }}
        />
        <Field
          label="Passphrase"
          problem={problems.passphrase}
          input={{ name: "passphrase", type: "password", autocomplete: "current-password", required: true }}
        />
        <div class="answers">
          <button type="submit" class="main" disabled={sending}>
            Open the notebook
          </button>
        </div>
      </form>
      <div class="passkey">{Passkey !== null && <Passkey />}</div>
    </Screen>
  );
}
