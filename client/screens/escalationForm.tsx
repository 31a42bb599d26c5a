import { saveLabel } from "#text/common.ts";
import { escalateHint, escalateLabel, escalationTitle, minutesUnit } from "#text/recipientsScreen.ts";
import { savedText } from "#text/savedNote.ts";
import type { YardView } from "../../server/contract/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { FormError, NumberField, readNumber, useFormSubmit } from "../components/field.tsx";
import { noteSaved } from "../components/savedNote.tsx";
import { useUndoCount } from "../components/useUndoCount.ts";
import { changeYardBack } from "../state/changeBack.ts";
import { refreshHome } from "../state/home.ts";

/** How long a person has to acknowledge an urgent alarm before the next one is notified. */
export function EscalationForm({ yard }: { readonly yard: YardView }) {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const { undone, counted } = useUndoCount();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const escalateMinutes = readNumber(new FormData(event.currentTarget as HTMLFormElement), "escalateMinutes");
    const change = escalateMinutes === undefined ? {} : { escalateMinutes };
    const before = { escalateMinutes: yard.escalateMinutes };
    if ((await send(() => withoutContent(laterApi.changeYard(yard.id, change)))) === null) return;
    await refreshHome();
    noteSaved(
      savedText,
      counted(() => changeYardBack(yard.id, before)),
    );
  };
  return (
    <section class="subsection" aria-labelledby="next-title">
      <h2 id="next-title">{escalationTitle}</h2>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={formError} />
        <NumberField
          key={undone}
          name="escalateMinutes"
          label={escalateLabel}
          hint={escalateHint}
          unit={minutesUnit}
          problem={problems.escalateMinutes}
          {...{ min: 1, max: 1_440, whole: true }}
          value={yard.escalateMinutes}
        />
        <div class="actions">
          <button type="submit" disabled={sending}>
            {saveLabel}
            <span class="hidden"> {escalationTitle}</span>
          </button>
        </div>
      </form>
    </section>
  );
}
