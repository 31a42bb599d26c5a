import { useState } from "preact/hooks";
import {
  changePassphraseLabel,
  currentPassphraseLabel,
  deviceSignedOutText,
  devicesTitle,
  inUseText,
  lastUsedText,
  newPassphraseLabel,
  othersSignedOutText,
  passphraseChangedText,
  phonesTitle,
  sessionLimitsText,
  signedInAgoText,
  signedInText,
  signOutDetail,
  signOutLabel,
  signOutOthersLabel,
  signsOutText,
  thisDeviceText,
  title,
  unknownDevice,
} from "#text/accountScreen.ts";
import { passphraseLabel } from "#text/common.ts";
import type { SessionsView, SessionView } from "../../server/contract/api.ts";
import type { ApiResult } from "../api/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { DeleteAccount } from "../components/deleteAccount.tsx";
import { ExportKeySection } from "../components/exportKeySection.tsx";
import { Field, FormError, useFormSubmit } from "../components/field.tsx";
import { PasskeySection } from "../components/passkeySection.tsx";
import { Screen } from "../components/screen.tsx";
import { useLoad } from "../components/useLoad.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { home, updateConnectionState } from "../state/home.ts";
import { agoText } from "../text/clock.ts";
import { newPassphraseHint } from "../text/people.ts";
import { loadErrorText } from "./notFound.tsx";

/** What belongs to a person and to no yard: their passphrase, where they are signed in, and the end of the account. */
export function AccountScreen() {
  const name = home.value?.view.keeper.name;
  return (
    <Screen title={title} back={{ href: "/phones", name: phonesTitle }}>
      {name !== undefined && <p>{signedInText(name)}</p>}
      <PassphraseForm name={name ?? ""} />
      <PasskeySection />
      <SessionList />
      <ExportKeySection />
      <DeleteAccount />
    </Screen>
  );
}

function PassphraseForm({ name }: { readonly name: string }) {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const [old, passphrase] = [String(data.get("old") ?? ""), String(data.get("passphrase") ?? "")];
    const changed = await send(() => withoutContent(laterApi.changePassphrase({ old, passphrase })));
    if (changed === null) return;
    form.current?.reset();
    announce(passphraseChangedText);
  };
  return (
    <section aria-labelledby="passphrase-title">
      <h2 id="passphrase-title">{passphraseLabel}</h2>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={formError} />
        {/* For password managers, which ask whose passphrase it is. */}
        <input type="text" name="username" autocomplete="username" value={name} readOnly hidden />
        <Field
          label={currentPassphraseLabel}
          problem={problems.old}
          input={{ name: "old", type: "password", autocomplete: "current-password", required: true }}
        />
        <Field
          label={newPassphraseLabel}
          hint={newPassphraseHint}
          problem={problems.passphrase}
          input={{ name: "passphrase", type: "password", autocomplete: "new-password", required: true }}
        />
        <p class="hint">{signsOutText}</p>
        <div class="actions">
          <button type="submit" class="main" disabled={sending}>
            {changePassphraseLabel}
          </button>
        </div>
      </form>
    </section>
  );
}

function SessionList() {
  const { sessions, error, busy, end } = useSessions();
  const endOne = (id: string) => void end(() => laterApi.endSession(id), deviceSignedOutText);
  const endOthers = () => void end(() => laterApi.endOtherSessions(), othersSignedOutText);
  return (
    <section class="subsection" aria-labelledby="devices-title">
      <h2 id="devices-title">{devicesTitle}</h2>
      <p class="hint">{sessionLimitsText}</p>
      <FormError text={error} />
      <ul class="entry-list">
        {sessions.map((session) => (
          <SessionEntry key={session.id} session={session} busy={busy} end={() => endOne(session.id)} />
        ))}
      </ul>
      {sessions.filter(({ here }) => !here).length > 1 && (
        <div class="actions">
          <button type="button" disabled={busy} onClick={endOthers}>
            {signOutOthersLabel}
          </button>
        </div>
      )}
    </section>
  );
}

/** The person's sessions as the server lists them, and how to end them. */
function useSessions() {
  const [sessions, setSessions] = useState<readonly SessionView[]>([]);
  const [loadError, setLoadError] = useState<string | null>(null);
  const { sending, formError, send } = useFormSubmit();
  const load = async () => {
    const result = await laterApi.sessions();
    updateConnectionState(result);
    if (result.kind === "ok") setSessions(result.value.sessions);
    setLoadError(loadErrorText(result));
    return result;
  };
  useLoad(load, []);
  const end = async (request: () => Promise<ApiResult<SessionsView>>, doneText: string) => {
    const result = await send(request);
    if (result === null) {
      await load(); // it may have ended meanwhile
      return;
    }
    setSessions(result.sessions);
    announce(doneText);
  };
  return { sessions, error: loadError ?? formError, busy: sending, end };
}

function SessionEntry(props: { readonly session: SessionView; readonly busy: boolean; readonly end: () => void }) {
  const { device, here, signedInAt, lastUsedAt } = props.session;
  const name = device === "" ? unknownDevice : device;
  const lastUsed = agoText(lastUsedAt, now.value);
  return (
    <li>
      <h3>
        {name}
        {here && <span class="since"> {thisDeviceText}</span>}
      </h3>
      <p class="since">
        {here ? inUseText : lastUsedText(lastUsed)} {signedInAgoText(agoText(signedInAt, now.value))}
      </p>
      {!here && (
        <button type="button" class="plain" disabled={props.busy} onClick={props.end}>
          {signOutLabel(name)}
          <span class="hidden">{signOutDetail(lastUsed)}</span>
        </button>
      )}
    </li>
  );
}
