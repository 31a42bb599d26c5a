import { useState } from "preact/hooks";
import { unreachableText } from "#text/common.ts";
import * as text from "#text/importRecord.ts";
import type { ImportedRecordView, YardView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { connectionState, refreshHome } from "../state/home.ts";
import { Field, FormError, useFormSubmit } from "./field.tsx";

/** Takes a downloaded training record into this yard. Nothing of it is stored where a line isn't understood. */
export function ImportRecord({ yard }: { readonly yard: YardView }) {
  const { sending, formError, problems, form, send } = useFormSubmit();
  const [done, setDone] = useState<ImportedRecordView | null>(null);
  const isOffline = connectionState.value === "offline";
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const file = (form.current?.elements.namedItem("file") as HTMLInputElement | null)?.files?.[0];
    if (file === undefined || file.size === 0) return;
    const octets = file.slice(0, file.size, "application/octet-stream"); // its name says nothing; the server looks inside
    setDone(null);
    const added = await send(() => laterApi.importRecord(yard.id, octets));
    if (added === null) return;
    setDone(added);
    announce(text.addedText);
    await refreshHome();
  };
  return (
    <details>
      <summary>{text.summary}</summary>
      <p>{text.introText}</p>
      <p class="hint">{text.lostText}</p>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={formError} />
        <LineProblems problems={problems} />
        <Field label={text.fileLabel} input={{ name: "file", type: "file", accept: ".zip,.jsonl", required: true }} />
        <div class="actions">
          <button type="submit" disabled={sending || isOffline}>
            {sending ? text.sendingLabel : text.importLabel}
          </button>
        </div>
        {isOffline && <p class="hint">{unreachableText}</p>}
      </form>
      {done !== null && <p role="status">{text.doneText(done)}</p>}
    </details>
  );
}

/** Each with its file, line and field. */
const LineProblems = ({ problems }: { readonly problems: Readonly<Record<string, string>> }) =>
  Object.keys(problems).length === 0 ? null : (
    <ul class="problem">
      {Object.entries(problems).map(([field, problem]) => (
        <li key={field}>
          {field}: {problem}
        </li>
      ))}
    </ul>
  );
