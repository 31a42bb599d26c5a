import { useState } from "preact/hooks";
import * as text from "#text/diseaseNotice.ts";
import type { YardView } from "../../server/contract/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { newId } from "../state/actions.ts";
import { announce } from "../state/announcement.ts";
import { now } from "../state/clock.ts";
import { refreshHome } from "../state/home.ts";
import { momentText } from "../text/clock.ts";
import { FormError, useFormSubmit } from "./field.tsx";

/** On each page of a yard's feeders while its notice is in force. */
export function DiseaseNotice({ yard, link = true }: { readonly yard: YardView; readonly link?: boolean }) {
  const { diseaseNotice, id, zone, role } = yard;
  if (diseaseNotice === null) return null;
  const { at, by } = diseaseNotice;
  return (
    <p class="notice warning">
      {text.inForceText(momentText(at, now.value, zone), by)}{" "}
      {link && role === "keeper" && <a href={`/yards/${encodeURIComponent(id)}`}>{text.settingsLink}</a>}
    </p>
  );
}

/** Where a keeper puts the notice in force, and lifts it. */
export function DiseaseNoticeSection({ yard }: { readonly yard: YardView }) {
  const inForce = yard.diseaseNotice !== null;
  return (
    <section class="subsection" aria-labelledby="disease-title">
      <h2 id="disease-title">{text.title}</h2>
      {inForce ? (
        <>
          <DiseaseNotice yard={yard} link={false} />
          <p>{text.liftHint}</p>
          <NoticeButton yard={yard} inForce={false} label={text.liftLabel} done={text.liftedText} />
        </>
      ) : (
        <>
          <p class="hint">{text.hint}</p>
          <details>
            <summary>{text.stopSummary}</summary>
            <p>{text.stopExplanation(yard.name)}</p>
            <NoticeButton yard={yard} inForce={true} label={text.stopLabel} done={text.stoppedText(yard.name)} />
          </details>
        </>
      )}
    </section>
  );
}

interface NoticeButtonProps {
  readonly yard: YardView;
  readonly inForce: boolean;
  readonly label: string;
  readonly done: string;
}

function NoticeButton({ yard, inForce, label, done }: NoticeButtonProps) {
  const { sending, formError, form, send } = useFormSubmit();
  const [id] = useState(newId); // the same for a second try after a lost answer
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    if ((await send(() => withoutContent(laterApi.setDiseaseNotice(yard.id, { id, inForce })))) === null) return;
    await refreshHome();
    announce(done);
  };
  return (
    <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
      <FormError text={formError} />
      <div class="actions">
        <button type="submit" class={inForce ? "danger" : undefined} disabled={sending}>
          {label}
        </button>
      </div>
    </form>
  );
}
