import { useState } from "preact/hooks";
import type { PasskeysView, PasskeyView } from "../../server/contract/passkeys.ts";
import type { ApiResult } from "../api/api.ts";
import { hasPasskeySupport, needsConfirmation, passkeys } from "../api/passkeys.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { agoText } from "../text/clock.ts";
import { ConfirmIdentity } from "./confirmIdentity.tsx";
import { Field, FormError, readText, useFormSubmit } from "./field.tsx";
import { useLoad } from "./useLoad.ts";

type PasskeyRequest = () => Promise<ApiResult<PasskeysView>>;
/** What is tried, and what is said once it is done. */
interface PendingRequest {
  readonly send: PasskeyRequest;
  readonly successText: string;
}

/** The passkeys of whoever is signed in: which there are, where they work, and one more. */
export function PasskeySection() {
  const [view, setView] = useState<PasskeysView | null>(null);
  const [missing, setMissing] = useState<string | null>(null);
  const [held, setHeld] = useState<PendingRequest | null>(null); // waits until the person has confirmed who they are
  const [renaming, setRenaming] = useState<string | null>(null);
  const { sending, problems, said, form, send } = useFormSubmit();

  useLoad(async () => {
    const answer = await passkeys.list();
    if (answer.kind === "ok") setView(answer.value);
    setMissing(
      answer.kind === "ok"
        ? null
        : answer.kind === "unreachable"
          ? "The server can't be reached just now."
          : answer.problem.detail,
    );
    return answer;
  }, []);

  const attempt = async (tried: PendingRequest) => {
    const done = await send<PasskeysView | "held">(async () => {
      const answer = await tried.send();
      return needsConfirmation(answer) ? { kind: "ok", value: "held" } : answer;
    });
    if (done === null) return;
    setHeld(done === "held" ? tried : null);
    if (done === "held") return;
    setView(done);
    setRenaming(null);
    form.current?.reset();
    announce(tried.successText);
  };
  const add = (event: SubmitEvent) => {
    event.preventDefault();
    const label = readText(new FormData(event.currentTarget as HTMLFormElement), "label");
    void attempt({ send: () => passkeys.add(label), successText: "Passkey added." });
  };

  return (
    <section class="after" aria-labelledby="passkeys-title">
      <h2 id="passkeys-title">Passkeys</h2>
      <p>
        With a passkey you sign in by the device's own lock: a fingerprint, a face or a PIN. Your passphrase goes on
        working beside it.
      </p>
      <FormError text={missing ?? said} />
      {view !== null && view.passkeys.length > 0 && (
        <ul class="phones">
          {view.passkeys.map((one) => (
            <PasskeyEntry
              key={one.id}
              passkey={one}
              busy={sending}
              problem={problems.label}
              renaming={renaming === one.id}
              rename={() => setRenaming(renaming === one.id ? null : one.id)}
              renamed={(label) => void attempt({ send: () => passkeys.rename(one.id, label), successText: "Renamed." })}
              remove={() => void attempt({ send: () => passkeys.remove(one.id), successText: "Passkey removed." })}
            />
          ))}
        </ul>
      )}
      {held !== null && (
        <ConfirmIdentity
          hasPasskey={(view?.passkeys.length ?? 0) > 0}
          confirmed={() => void attempt(held)}
          cancel={() => setHeld(null)}
        />
      )}
      {view !== null && held === null && (
        <AddPasskey {...{ view, sending, form, add }} problem={renaming === null ? problems.label : ""} />
      )}
    </section>
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
  if (origin === null) {
    return (
      <p class="notice">
        Passkeys need an address with HTTPS and a host name, and this server has none (PUBLIC_URL). Sign in with your
        passphrase.
      </p>
    );
  }
  if (origin !== location.origin) {
    return (
      <p class="notice">
        Passkeys work only at this server's own address. Open <a href={`${origin}/account`}>{origin}</a> to add one.
      </p>
    );
  }
  if (!hasPasskeySupport()) return <p class="notice">This browser can't use passkeys. Sign in with your passphrase.</p>;
  if (passkeys.length >= most) return <p class="notice">You have as many passkeys as a person may have: {most}.</p>;
  return (
    <form ref={props.form} onSubmit={props.add} noValidate>
      <Field
        label="Name of the new passkey"
        hint="So that you can tell it from others: my phone, or the key on the ring."
        problem={props.problem}
        input={{ name: "label", defaultValue: "This device", maxLength: 60, autocomplete: "off" }}
      />
      <div class="answers">
        <button type="submit" class="main" disabled={props.sending}>
          Add a passkey
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
  readonly renamed: (label: string) => void;
  readonly remove: () => void;
}) {
  const { passkey, busy, renaming } = props;
  const used = passkey.lastUsedAt === null ? "not used yet" : `last used ${agoText(passkey.lastUsedAt, now.value)}`;
  const submit = (event: SubmitEvent) => {
    event.preventDefault();
    props.renamed(readText(new FormData(event.currentTarget as HTMLFormElement), "label"));
  };
  return (
    <li>
      <strong>{passkey.label}</strong>
      <p class="since">
        Added {agoText(passkey.addedAt, now.value)}, {used}. {passkey.synced ? "Copied to your other devices." : ""}
      </p>
      {renaming && (
        <form onSubmit={submit} noValidate>
          <Field
            label="New name"
            problem={props.problem}
            input={{ name: "label", defaultValue: passkey.label, maxLength: 60, autocomplete: "off" }}
          />
          <div class="answers">
            <button type="submit" disabled={busy}>
              Save the name
            </button>
          </div>
        </form>
      )}
      <div class="answers">
        <button type="button" class="plain" aria-expanded={renaming} disabled={busy} onClick={props.rename}>
          Rename {passkey.label}
        </button>
        <button type="button" class="plain" disabled={busy} onClick={props.remove}>
          Remove {passkey.label}
        </button>
      </div>
    </li>
  );
}
