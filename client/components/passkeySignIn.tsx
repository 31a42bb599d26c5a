import { signInLabel, unsupportedText } from "#text/passkeySignIn.ts";
import { hasPasskeySupport, passkeys } from "../api/passkeys.ts";
import { startSession } from "../state/home.ts";
import { FormError, useFormSubmit } from "./field.tsx";

/** Signs in without a name or a passphrase; loaded separately, since a person who is signed in does not need it. */
export function PasskeySignIn() {
  const { sending, formError, send } = useFormSubmit();
  if (!hasPasskeySupport()) {
    return <p class="hint">{unsupportedText}</p>;
  }
  const signIn = async () => {
    const done = await send(passkeys.signIn);
    if (done !== null) await startSession(done.keeper.name);
  };
  return (
    <>
      <FormError text={formError} />
      <button type="button" disabled={sending} onClick={() => void signIn()}>
        {signInLabel}
      </button>
    </>
  );
}
