import { cancelLabel } from "#text/common.ts";
import * as text from "#text/confirmIdentity.ts";
import { yourPassphraseLabel } from "#text/forms.ts";
import { withoutContent } from "../api/laterApi.ts";
import { confirmByPassphrase, hasPasskeySupport, passkeys } from "../api/passkeys.ts";
import { Field, FormError, useFormSubmit } from "./field.tsx";

/** Requires the passphrase or a passkey again, before a change of how a person signs in. */
export function ConfirmIdentity(props: {
  readonly hasPasskey: boolean;
  readonly onConfirmed: () => void;
  readonly onCancel: () => void;
}) {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const finish = async (ask: typeof passkeys.confirm) => {
    const done = await send(() => withoutContent(ask()));
    if (done !== null) props.onConfirmed();
  };
  const submit = (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    void finish(() => confirmByPassphrase(String(data.get("passphrase") ?? "")));
  };
  return (
    <form ref={form} onSubmit={submit} noValidate aria-label={text.formLabel}>
      <FormError text={formError} />
      <Field
        label={yourPassphraseLabel}
        hint={text.hint}
        problem={problems.passphrase}
        input={{ name: "passphrase", type: "password", autocomplete: "current-password", required: true }}
      />
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {text.continueLabel}
        </button>
        {props.hasPasskey && hasPasskeySupport() && (
          <button type="button" disabled={sending} onClick={() => void finish(passkeys.confirm)}>
            {text.usePasskeyLabel}
          </button>
        )}
        <button type="button" class="plain" onClick={props.onCancel}>
          {cancelLabel}
        </button>
      </div>
    </form>
  );
}
