import { withoutContent } from "../api/laterApi.ts";
import { confirmByPassphrase, hasPasskeySupport, passkeys } from "../api/passkeys.ts";
import { Field, FormError, useFormSubmit } from "./field.tsx";

/** Asks anew who is there, before something changes how one signs in. */
export function ConfirmIdentity(props: {
  readonly hasPasskey: boolean;
  readonly confirmed: () => void;
  readonly cancel: () => void;
}) {
  const { sending, problems, said, form, send } = useFormSubmit();
  const finish = async (ask: typeof passkeys.confirm) => {
    const done = await send(() => withoutContent(ask()));
    if (done !== null) props.confirmed();
  };
  const submit = (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    void finish(() => confirmByPassphrase(String(data.get("passphrase") ?? "")));
  };
  return (
    <form ref={form} onSubmit={submit} noValidate aria-label="Confirm that it is you">
      <FormError text={said} />
      <Field
        label="Your passphrase"
        hint="You signed in more than 5 minutes ago, and this changes how you sign in."
        problem={problems.passphrase}
        input={{ name: "passphrase", type: "password", autocomplete: "current-password", required: true }}
      />
      <div class="answers">
        <button type="submit" class="main" disabled={sending}>
          Go on
        </button>
        {props.hasPasskey && hasPasskeySupport() && (
          <button type="button" disabled={sending} onClick={() => void finish(passkeys.confirm)}>
            Use a passkey instead
          </button>
        )}
        <button type="button" class="plain" onClick={props.cancel}>
          Cancel
        </button>
      </div>
    </form>
  );
}
