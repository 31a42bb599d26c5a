import { useState } from "preact/hooks";
import type { SessionsView, SessionView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { DeleteAccount } from "../components/deleteAccount.tsx";
import { Field, FormError, useFormSubmit } from "../components/field.tsx";
import { PasskeySection } from "../components/passkeySection.tsx";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { home, updateConnectionState } from "../state/home.ts";
import { agoText } from "../text/clock.ts";
import { newPassphraseHint } from "../text/people.ts";

/** What belongs to a person and to no yard: their passphrase, where they are signed in, and the end of the account. */
export function AccountScreen() {
  const name = home.value?.view.keeper.name;
  return (
    <Screen title="Account" back={{ href: "/phones", name: "Phones" }}>
      {name !== undefined && <p>You are signed in as {name}.</p>}
      <PassphraseForm name={name ?? ""} />
      <PasskeySection />
      <SessionList />
      <DeleteAccount />
    </Screen>
  );
}

function PassphraseForm({ name }: { readonly name: string }) {
  const { sending, problems, said, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const [old, passphrase] = [String(data.get("old") ?? ""), String(data.get("passphrase") ?? "")];
    const changed = await send(() => withoutContent(laterApi.changePassphrase({ old, passphrase })));
    if (changed === null) return;
    form.current?.reset();
    announce("Your passphrase is changed. All your other devices are signed out.");
  };
  return (
    <section aria-labelledby="passphrase-title">
      <h2 id="passphrase-title">Passphrase</h2>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={said} />
        {/* For password managers, which ask whose passphrase it is. */}
        <input type="text" name="username" autocomplete="username" value={name} readOnly hidden />
        <Field
          label="Current passphrase"
          problem={problems.old}
          input={{ name: "old", type: "password", autocomplete: "current-password", required: true }}
        />
        <Field
          label="New passphrase"
          hint={newPassphraseHint}
          problem={problems.passphrase}
          input={{ name: "passphrase", type: "password", autocomplete: "new-password", required: true }}
        />
        <p class="hint">All your other devices are signed out by it.</p>
        <div class="answers">
          <button type="submit" class="main" disabled={sending}>
            Change the passphrase
          </button>
        </div>
      </form>
    </section>
  );
}

function SessionList() {
  const [sessions, setSessions] = useState<readonly SessionView[]>([]);
  const [trouble, setTrouble] = useState<string | null>(null);
  const { sending, said, send } = useFormSubmit();
  const load = async () => {
    const answer = await laterApi.sessions();
    updateConnectionState(answer);
    if (answer.kind === "ok") {
      setSessions(answer.value.sessions);
      setTrouble(null);
    } else setTrouble(answer.kind === "unreachable" ? "The server can't be reached just now." : answer.problem.detail);
    return answer;
  };
  useLoad(load, []);
  const end = async (ask: () => Promise<ApiResult<SessionsView>>, words: string) => {
    const answer = await send(ask);
    if (answer === null) {
      await load(); // it may have ended meanwhile
      return;
    }
    setSessions(answer.sessions);
    announce(words);
  };
  const others = sessions.filter(({ here }) => !here);
  return (
    <section class="after" aria-labelledby="devices-title">
      <h2 id="devices-title">Signed-in devices</h2>
      <p class="hint">A device is signed out after 30 days without use, and after 180 days in any case.</p>
      <FormError text={trouble ?? said} />
      <ul class="phones">
        {sessions.map((session) => (
          <SessionEntry
            key={session.id}
            session={session}
            busy={sending}
            end={() => void end(() => laterApi.endSession(session.id), "That device is signed out.")}
          />
        ))}
      </ul>
      {others.length > 1 && (
        <div class="answers">
          <button
            type="button"
            disabled={sending}
            onClick={() => void end(() => laterApi.endOtherSessions(), "All other devices are signed out.")}
          >
            Sign out all other devices
          </button>
        </div>
      )}
    </section>
  );
}

function SessionEntry(props: { readonly session: SessionView; readonly busy: boolean; readonly end: () => void }) {
  const { device, here, signedInAt, lastUsedAt } = props.session;
  const name = device === "" ? "Unknown device" : device;
  return (
    <li>
      <h3>
        {name}
        {here && <span class="since"> this one</span>}
      </h3>
      <p class="since">
        {here ? "In use now. " : `Last used ${agoText(lastUsedAt, now.value)}. `}
        Signed in {agoText(signedInAt, now.value)}.
      </p>
      {!here && (
        <button type="button" class="plain" disabled={props.busy} onClick={props.end}>
          Sign out {name}
          <span class="hidden">, last used {agoText(lastUsedAt, now.value)}</span>
        </button>
      )}
    </li>
  );
}
