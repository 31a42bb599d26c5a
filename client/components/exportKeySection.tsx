import { useState } from "preact/hooks";
import * as text from "#text/exportKeySection.ts";
import { yourPassphraseLabel } from "#text/forms.ts";
import type { ExportKeysView, ExportKeyView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { home } from "../state/home.ts";
import { agoText } from "../text/clock.ts";
import { dateFormat } from "../text/format.ts";
import { CopyableText } from "./copyableText.tsx";
import { Choice, Field, FieldGroup, FormError, readText, useFormSubmit } from "./field.tsx";
import { useLoad } from "./useLoad.ts";

type Request = Parameters<typeof laterApi.makeExportKey>[0];

/** The person's export keys, when each was last used, and a form to make one. */
export function ExportKeySection() {
  const { view, made, problems, error, sending, form, make, remove } = useExportKeys();
  return (
    <section class="subsection" aria-labelledby="export-keys-title">
      <h2 id="export-keys-title">{text.title}</h2>
      <p>{text.introText}</p>
      <p class="hint">{text.endsText}</p>
      <FormError text={error} />
      {made !== null && <MadeKey secret={made} />}
      <ul class="entry-list">
        {(view?.keys ?? []).map((key) => (
          <KeyEntry key={key.id} of={key} busy={sending} remove={() => void remove(key.id)} />
        ))}
      </ul>
      {view !== null && view.keys.length >= view.most && <p>{text.maximumText(view.most)}</p>}
      {view !== null && view.keys.length < view.most && (
        <details>
          <summary>{text.makeSummary}</summary>
          <form ref={form} onSubmit={(event) => void make(event)} noValidate>
            <KeyFields problems={problems} />
            <div class="actions">
              <button type="submit" disabled={sending}>
                {text.makeLabel}
              </button>
            </div>
          </form>
        </details>
      )}
    </section>
  );
}

function useExportKeys() {
  const [view, setView] = useState<ExportKeysView | null>(null);
  const [made, setMade] = useState<string | null>(null);
  const { sending, problems, formError, form, send } = useFormSubmit();
  const load = async () => {
    const loaded = await laterApi.exportKeys();
    if (loaded.kind === "ok") setView(loaded.value);
    return loaded;
  };
  useLoad(load, []);
  const make = async (event: SubmitEvent) => {
    event.preventDefault();
    const result = await send(() => laterApi.makeExportKey(requestOf(event.currentTarget as HTMLFormElement)));
    if (result === null) return;
    setView(result);
    setMade(result.key);
    form.current?.reset();
    announce(text.madeText);
  };
  const remove = async (id: string) => {
    const result = await send(() => laterApi.removeExportKey(id));
    if (result === null) {
      await load(); // it may have ended meanwhile
      return;
    }
    setView(result);
    setMade(null);
    announce(text.removedText);
  };
  return { view, made, problems, error: formError, sending, form, make, remove };
}

function requestOf(form: HTMLFormElement): Request {
  const data = new FormData(form);
  const days = data.get("days") === "365" ? 365 : 90;
  return { name: readText(data, "name"), days, passphrase: String(data.get("passphrase") ?? "") };
}

const KeyFields = ({ problems }: { readonly problems: Readonly<Record<string, string>> }) => (
  <>
    <Field
      label={text.nameLabel}
      hint={text.nameHint}
      problem={problems.name}
      input={{ name: "name", required: true, autocomplete: "off" }}
    />
    <FieldGroup legend={text.lifeLabel} problem={problems.days}>
      {([90, 365] as const).map((days) => (
        <Choice
          key={days}
          type="radio"
          label={text.lifeTexts[days]}
          input={{ name: "days", value: String(days), defaultChecked: days === 90 }}
        />
      ))}
    </FieldGroup>
    <Field
      label={yourPassphraseLabel}
      problem={problems.passphrase}
      input={{ name: "passphrase", type: "password", autocomplete: "current-password", required: true }}
    />
  </>
);

function MadeKey({ secret }: { readonly secret: string }) {
  const yard = home.value?.view.yards[0]?.id;
  const url = `${location.origin}/api/v1/yards/${encodeURIComponent(yard ?? "")}/training/export?table=days`;
  return (
    <div class="shown-once">
      <p>
        <strong>{text.shownOnceTitle}</strong> {text.shownOnceText}
      </p>
      <CopyableText label={text.keyLabel} text={secret} />
      {yard !== undefined && (
        <>
          <p>{text.tryText}</p>
          <CopyableText label={text.commandLabel} text={text.command(url, secret)} />
        </>
      )}
    </div>
  );
}

function KeyEntry(props: { readonly of: ExportKeyView; readonly busy: boolean; readonly remove: () => void }) {
  const { name, madeAt, expiresAt, lastUsedAt } = props.of;
  return (
    <li>
      <h3>{name}</h3>
      <p class="since">{stateText(madeAt, expiresAt, lastUsedAt)}</p>
      <button type="button" class="plain" disabled={props.busy} onClick={props.remove}>
        {text.removeLabel(name)}
      </button>
    </li>
  );
}

function stateText(madeAt: string, expiresAt: string, lastUsedAt: string | null): string {
  const end = longDate(expiresAt);
  if (Date.parse(expiresAt) <= now.value) return text.endedText(end);
  const made = agoText(madeAt, now.value);
  return lastUsedAt === null ? text.notUsedText(made, end) : text.usedText(made, agoText(lastUsedAt, now.value), end);
}

/** "1 March 2027", of this device's own zone: an account has none. */
const longDate = (at: string): string =>
  dateFormat(Intl.DateTimeFormat().resolvedOptions().timeZone, "longDate", {
    day: "numeric",
    month: "long",
    year: "numeric",
  }).format(new Date(at));
