import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { api } from "../api/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { Field, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { announce } from "../state/announcement.ts";
import { home, refreshHome, signedIn, startSession } from "../state/home.ts";
import { newPassphraseHint } from "../text/people.ts";

/** One more person comes by a link whose secret stands behind the #, so that it never reaches a log. */
export function JoinScreen() {
  const { route } = useLocation();
  const [token] = useState(() => decodeURIComponent(location.hash.slice(1)));
  const [knownHere, setKnownHere] = useState(false);
  const { sending, problems, said, form, send } = useFormSubmit();
  const isIn = signedIn.value === "yes";

  const joined = async (yardName: string) => {
    history.replaceState(null, "", "/join"); // the secret has done its work
    announce(`You belong to ${yardName} now.`);
    await refreshHome();
    route("/phones", true); // whoever joins wants to be told
  };
  const joinAsIs = async () => {
    const done = await send(() => laterApi.join({ token }));
    if (done !== null) await joined(done.yard.name);
  };
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const name = readText(data, "name");
    const passphrase = String(data.get("passphrase") ?? "");
    if (knownHere) {
      const done = await send(() => api.signIn(name, passphrase));
      if (done !== null) await startSession(done.keeper?.name ?? name);
      return;
    }
    const done = await send(() => laterApi.join({ token, name, passphrase }));
    if (done === null) return;
    await startSession(done.keeper.name);
    await joined(done.yard.name);
  };

  if (token === "") {
    return (
      <Screen title="An invitation">
        <p>This link is not whole: it should end in # and a secret. Open it again from where it was sent to you.</p>
      </Screen>
    );
  }
  return (
    <Screen title="An invitation">
      <p>Somebody wants you to be told when their feeders need a hand.</p>
      <FormError text={problems.token ?? said} />
      {isIn ? (
        <>
          <p>You are signed in as {home.value?.view.keeper.name ?? "yourself"}.</p>
          <div class="answers">
            <button type="button" class="main" disabled={sending} onClick={() => void joinAsIs()}>
              Join
            </button>
          </div>
        </>
      ) : (
        <>
          <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
            <Field
              label="Your name"
              hint={knownHere ? undefined : "The others see it beside what you answered."}
              problem={problems.name}
              input={{ name: "name", autocomplete: "username", required: true, maxLength: 60 }}
            />
            <Field
              label="Passphrase"
              hint={knownHere ? undefined : newPassphraseHint}
              problem={problems.passphrase}
              input={{
                name: "passphrase",
                type: "password",
                autocomplete: knownHere ? "current-password" : "new-password",
                required: true,
              }}
            />
            <div class="answers">
              <button type="submit" class="main" disabled={sending}>
                {knownHere ? "Open my notebook" : "Join"}
              </button>
            </div>
          </form>
          <button type="button" class="plain" onClick={() => setKnownHere(!knownHere)}>
            {knownHere ? "I am new here" : "I already keep a notebook here"}
          </button>
        </>
      )}
    </Screen>
  );
}
