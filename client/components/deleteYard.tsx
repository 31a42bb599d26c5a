import { useLocation } from "preact-iso";
import * as text from "#text/deleteYard.ts";
import { deleteSummary } from "#text/forms.ts";
import type { YardView } from "../../server/contract/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { refreshHome } from "../state/home.ts";
import { Field, FormError, readText, useFormSubmit } from "./field.tsx";

/** Deletes a yard, after its name was typed again. */
export function DeleteYard({ yard }: { readonly yard: YardView }) {
  const { route } = useLocation();
  const { sending, problems, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const name = readText(new FormData(event.currentTarget as HTMLFormElement), "name");
    const deleted = await send(() => withoutContent(laterApi.deleteYard(yard.id, name)));
    if (deleted === null) return;
    await refreshHome();
    announce(text.deletedText(yard.name));
    route("/", true);
  };
  const consequences = yard.peopleCount > 1 ? text.consequencesForPeopleText : text.consequencesText;
  return (
    <section class="subsection" aria-labelledby="delete-title">
      <h2 id="delete-title">{text.title}</h2>
      <details>
        <summary>{deleteSummary}</summary>
        <p>{consequences(yard.name, yard.feeders.length)}</p>
        <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
          <FormError text={formError} />
          <Field
            label={text.nameLabel}
            hint={text.nameHint(yard.name)}
            problem={problems.name}
            input={{ name: "name", autocomplete: "off", required: true }}
          />
          <div class="actions">
            <button type="submit" class="danger" disabled={sending}>
              {text.deleteLabel}
            </button>
          </div>
        </form>
      </details>
    </section>
  );
}
