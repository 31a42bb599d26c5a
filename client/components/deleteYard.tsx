import { useLocation } from "preact-iso";
import type { YardView } from "../../server/contract/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { announce } from "../state/announcement.ts";
import { refreshHome } from "../state/home.ts";
import { Field, FormError, readText, useFormSubmit } from "./field.tsx";

/** The end of a yard, after its name was typed once more. */
export function DeleteYard({ yard }: { readonly yard: YardView }) {
  const { route } = useLocation();
  const { sending, problems, said, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const name = readText(new FormData(event.currentTarget as HTMLFormElement), "name");
    const deleted = await send(() => withoutContent(laterApi.deleteYard(yard.id, name)));
    if (deleted === null) return;
    await refreshHome();
    announce(`${yard.name} is deleted.`);
    route("/", true);
  };
  const { length } = yard.feeders;
  const feeders = length === 0 ? "" : length === 1 ? ", its feeder" : `, its ${length} feeders`;
  return (
    <section class="after" aria-labelledby="delete-title">
      <h2 id="delete-title">Delete this yard</h2>
      <details>
        <summary>Delete…</summary>
        <p>
          {yard.name}
          {feeders} and the whole record are deleted.
          {yard.peopleCount > 1 && " Whoever belongs to no other yard loses their account too; yours stays."} This can't
          be undone.
        </p>
        <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
          <FormError text={said} />
          <Field
            label="Name of the yard"
            hint={`Type ${yard.name}, so that no other yard is deleted by mistake.`}
            problem={problems.name}
            input={{ name: "name", autocomplete: "off", required: true }}
          />
          <div class="answers">
            <button type="submit" class="grave" disabled={sending}>
              Delete the yard
            </button>
          </div>
        </form>
      </details>
    </section>
  );
}
