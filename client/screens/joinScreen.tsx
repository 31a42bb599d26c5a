import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { passphraseLabel } from "#text/common.ts";
import {
  haveAccountLabel,
  haveNoAccountLabel,
  incompleteLinkText,
  introText,
  joinedText,
  joinLabel,
  nameHint,
  signedInText,
  signInLabel,
  title,
  yourNameLabel,
  yourself,
} from "#text/joinScreen.ts";
import { api } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { Field, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { announce } from "../state/announcement.ts";
import { home, refreshHome, signedIn, startSession } from "../state/home.ts";
import { newPassphraseHint } from "../text/people.ts";

/** A further person opens a link with its secret after the #, which browsers do not send, so it is in no log. */
export function JoinScreen() {
  const [token] = useState(() => decodeURIComponent(location.hash.slice(1)));
  return <Screen title={title}>{token === "" ? <p>{incompleteLinkText}</p> : <Invitation token={token} />}</Screen>;
}

function Invitation({ token }: { readonly token: string }) {
  const { route } = useLocation();
  const submission = useFormSubmit();
  const finish = async (yardName: string) => {
    history.replaceState(null, "", "/join"); // the secret has done its work
    announce(joinedText(yardName));
    await refreshHome();
    route("/phones", true); // notifications are turned on there
  };
  const props = { token, submission, finish };
  return (
    <>
      <p>{introText}</p>
      <FormError text={submission.problems.token ?? submission.formError} />
      {signedIn.value === "yes" ? <JoinSignedIn {...props} /> : <JoinForm {...props} />}
    </>
  );
}

interface JoinProps {
  readonly token: string;
  readonly submission: ReturnType<typeof useFormSubmit>;
  readonly finish: (yardName: string) => Promise<void>;
}

function JoinSignedIn({ token, submission: { sending, send }, finish }: JoinProps) {
  const join = async () => {
    const joined = await send(() => laterApi.join({ token }));
    if (joined !== null) await finish(joined.yard.name);
  };
  return (
    <>
      <p>{signedInText(home.value?.view.keeper.name ?? yourself)}</p>
      <div class="actions">
        <button type="button" class="main" disabled={sending} onClick={() => void join()}>
          {joinLabel}
        </button>
      </div>
    </>
  );
}

/** Creates an account that belongs to the yard, or signs in first where there is one. */
function JoinForm({ token, submission: { sending, problems, form, send }, finish }: JoinProps) {
  const [hasAccount, setHasAccount] = useState(false);
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const name = readText(data, "name");
    const passphrase = String(data.get("passphrase") ?? "");
    if (hasAccount) {
      const session = await send(() => api.signIn(name, passphrase));
      if (session !== null) await startSession(session.keeper?.name ?? name);
      return;
    }
    const joined = await send(() => laterApi.join({ token, name, passphrase }));
    if (joined === null) return;
    await startSession(joined.keeper.name);
    await finish(joined.yard.name);
  };
  return (
    <>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <NameAndPassphrase hasAccount={hasAccount} problems={problems} />
        <div class="actions">
          <button type="submit" class="main" disabled={sending}>
            {hasAccount ? signInLabel : joinLabel}
          </button>
        </div>
      </form>
      <button type="button" class="plain" onClick={() => setHasAccount(!hasAccount)}>
        {hasAccount ? haveNoAccountLabel : haveAccountLabel}
      </button>
    </>
  );
}

function NameAndPassphrase(props: {
  readonly hasAccount: boolean;
  readonly problems: Readonly<Record<string, string>>;
}) {
  const { hasAccount, problems } = props;
  const autocomplete = hasAccount ? "current-password" : "new-password";
  return (
    <>
      <Field
        label={yourNameLabel}
        hint={hasAccount ? undefined : nameHint}
        problem={problems.name}
        input={{ name: "name", autocomplete: "username", required: true, maxLength: 60 }}
      />
      <Field
        label={passphraseLabel}
        hint={hasAccount ? undefined : newPassphraseHint}
        problem={problems.passphrase}
        input={{ name: "passphrase", type: "password", autocomplete, required: true }}
      />
    </>
  );
}
