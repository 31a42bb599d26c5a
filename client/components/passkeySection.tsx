import { useState } from "preact/hooks";
import { saveLabel } from "#text/common.ts";
import * as text from "#text/passkeySection.ts";
import type { PasskeysView, PasskeyView } from "../../server/contract/passkeys.ts";
import type { ApiResult } from "../api/api.ts";
import { hasPasskeySupport, needsConfirmation, passkeys } from "../api/passkeys.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { agoText } from "../text/clock.ts";
import { ConfirmIdentity } from "./confirmIdentity.tsx";
import { Field, FormError, readText, useFormSubmit } from "./field.tsx";
import { LinkedText } from "./linkedText.tsx";
import { useLoad } from "./useLoad.ts";

type PasskeyRequest = () => Promise<ApiResult<PasskeysView>>;
/** A request, and what is announced once it is done. */
interface PendingRequest {
  readonly send: PasskeyRequest;
  readonly successText: string;
}

/** The passkeys of the person who is signed in, and a form to add one. */
export function PasskeySection() {
  const { view, error, sending, problem, form, pending, setPending, renaming, setRenaming, attempt } = usePasskeys();
  const add = (event: SubmitEvent) => {
    event.preventDefault();
    const label = readText(new FormData(event.currentTarget as HTMLFormElement), "label");
    void attempt({ send: () => passkeys.add(label), successText: text.addedText });
  };
  return (
    <section class="subsection" aria-labelledby="passkeys-title">
      <h2 id="passkeys-title">{text.title}</h2>
      <p>{text.introText}</p>
      <FormError text={error} />
      {view !== null && (
        <PasskeyList
          passkeys={view.passkeys}
          busy={sending}
          problem={problem}
          renaming={renaming}
          setRenaming={setRenaming}
          attempt={(request) => void attempt(request)}
        />
      )}
      {pending !== null && (
        <ConfirmIdentity
          hasPasskey={(view?.passkeys.length ?? 0) > 0}
          onConfirmed={() => void attempt(pending)}
          onCancel={() => setPending(null)}
        />
      )}
      {view !== null && pending === null && (
        <AddPasskey {...{ view, sending, form, add }} problem={renaming === null ? problem : ""} />
      )}
    </section>
  );
}

/** The passkeys, and `attempt`, which changes them: where the server needs a confirmation of the person, the request is `pending`. */
function usePasskeys() {
  const [view, setView] = useState<PasskeysView | null>(null);
  const [missing, setMissing] = useState<string | null>(null);
  const [pending, setPending] = useState<PendingRequest | null>(null); // until the person has confirmed who they are
  const [renaming, setRenaming] = useState<string | null>(null);
  const { sending, problems, formError, form, send } = useFormSubmit();

  useLoad(async () => {
    const loaded = await passkeys.list();
    if (loaded.kind === "ok") setView(loaded.value);
    setMissing(loadProblem(loaded));
    return loaded;
  }, []);

  const attempt = async (request: PendingRequest) => {
    const result = await send<PasskeysView | "unconfirmed">(async () => {
      const sent = await request.send();
      return needsConfirmation(sent) ? { kind: "ok", value: "unconfirmed" } : sent;
    });
    if (result === null) return;
    setPending(result === "unconfirmed" ? request : null);
    if (result === "unconfirmed") return;
    setView(result);
    setRenaming(null);
    form.current?.reset();
    announce(request.successText);
  };
  const error = missing ?? formError;
  return { view, error, sending, problem: problems.label, form, pending, setPending, renaming, setRenaming, attempt };
}

function loadProblem(loaded: ApiResult<unknown>): string | null {
  if (loaded.kind === "ok") return null;
  return loaded.kind === "unreachable" ? text.unreachableText : loaded.problem.detail;
}

function PasskeyList(props: {
  readonly passkeys: readonly PasskeyView[];
  readonly busy: boolean;
  readonly problem: string | undefined;
  readonly renaming: string | null; // id
  readonly setRenaming: (id: string | null) => void;
  readonly attempt: (request: PendingRequest) => void;
}) {
  const { busy, problem, renaming, setRenaming, attempt } = props;
  if (props.passkeys.length === 0) return null;
  return (
    <ul class="entry-list">
      {props.passkeys.map((one) => (
        <PasskeyEntry
          key={one.id}
          passkey={one}
          busy={busy}
          problem={problem}
          renaming={renaming === one.id}
          rename={() => setRenaming(renaming === one.id ? null : one.id)}
          onRename={(label) => attempt({ send: () => passkeys.rename(one.id, label), successText: text.renamedText })}
          remove={() => attempt({ send: () => passkeys.remove(one.id), successText: text.removedText })}
        />
      ))}
    </ul>
  );
}

/** The form, or why there is none. */
function AddPasskey(props: {
  readonly view: PasskeysView;
  readonly sending: boolean;
  readonly form: ReturnType<typeof useFormSubmit>["form"];
  readonly problem: string | undefined;
  readonly add: (event: SubmitEvent) => void;
}) {
  const { origin, passkeys, most } = props.view;
  if (origin === null) return <p class="notice">{text.noAddressText}</p>;
  if (origin !== location.origin) {
    return (
      <p class="notice">
        <LinkedText text={text.otherAddressText(origin)} hrefs={[`${origin}/account`]} />
      </p>
    );
  }
  if (!hasPasskeySupport()) return <p class="notice">{text.unsupportedText}</p>;
  if (passkeys.length >= most) return <p class="notice">{text.maximumText(most)}</p>;
  return (
    <form ref={props.form} onSubmit={props.add} noValidate>
      <Field
        label={text.newNameLabel}
        hint={text.newNameHint}
        problem={props.problem}
        input={{ name: "label", defaultValue: text.thisDeviceName, maxLength: 60, autocomplete: "off" }}
      />
      <div class="actions">
        <button type="submit" class="main" disabled={props.sending}>
          {text.addLabel}
        </button>
      </div>
    </form>
  );
}

function PasskeyEntry(props: {
  readonly passkey: PasskeyView;
  readonly busy: boolean;
  readonly problem: string | undefined;
  readonly renaming: boolean;
  readonly rename: () => void;
  readonly onRename: (label: string) => void;
  readonly remove: () => void;
}) {
  const { passkey, busy, problem, renaming, onRename } = props;
  const added = agoText(passkey.addedAt, now.value);
  const use =
    passkey.lastUsedAt === null
      ? text.notUsedText(added)
      : text.usedText(added, agoText(passkey.lastUsedAt, now.value));
  return (
    <li>
      <strong>{passkey.label}</strong>
      <p class="since">
        {use} {passkey.synced && text.syncedText}
      </p>
      {renaming && <RenameForm {...{ passkey, busy, problem, onRename }} />}
      <div class="actions">
        <button type="button" class="plain" aria-expanded={renaming} disabled={busy} onClick={props.rename}>
          {text.renameLabel(passkey.label)}
        </button>
        <button type="button" class="plain" disabled={busy} onClick={props.remove}>
          {text.removeLabel(passkey.label)}
        </button>
      </div>
    </li>
  );
}

function RenameForm(props: {
  readonly passkey: PasskeyView;
  readonly busy: boolean;
  readonly problem: string | undefined;
  readonly onRename: (label: string) => void;
}) {
  const submit = (event: SubmitEvent) => {
    event.preventDefault();
    props.onRename(readText(new FormData(event.currentTarget as HTMLFormElement), "label"));
  };
  return (
    <form onSubmit={submit} noValidate>
      <Field
        label={text.renameFieldLabel}
        problem={props.problem}
        input={{ name: "label", defaultValue: props.passkey.label, maxLength: 60, autocomplete: "off" }}
      />
      <div class="actions">
        <button type="submit" disabled={props.busy}>
          {saveLabel}
        </button>
      </div>
    </form>
  );
}
