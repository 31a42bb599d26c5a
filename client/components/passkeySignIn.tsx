import { hasPasskeySupport, passkeys } from "../api/passkeys.ts";
import { startSession } from "../state/home.ts";
import { FormError, useFormSubmit } from "./field.tsx";

/** Signing in without a name or a passphrase; fetched apart, since whoever is signed in needs nothing of it. */
export function PasskeySignIn() {
  const { sending, said, send } = useFormSubmit();
  if (!hasPasskeySupport()) {
    return (
      <p class="hint">Passkeys need HTTPS and a host name. At this address, sign in with your name and passphrase.</p>
    );
  }
  const signIn = async () => {
    const done = await send(passkeys.signIn);
    if (done !== null) await startSession(done.keeper.name);
  };
  return (
    <>
      <FormError text={said} />
      <button type="button" disabled={sending} onClick={() => void signIn()}>
        Sign in with a passkey
      </button>
    </>
  );
}
