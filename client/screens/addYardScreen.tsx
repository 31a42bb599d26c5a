import { useLocation } from "preact-iso";
import { addLabel, introText, title } from "#text/addYardScreen.ts";
import { nameLabel } from "#text/screens.ts";
import { laterApi } from "../api/laterApi.ts";
import { Field, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { ZoneField } from "../components/zoneField.tsx";
import { refreshHome } from "../state/home.ts";
import { backToFeeders } from "./notFound.tsx";

/** Another yard, for feeders at another place or for other people. */
export function AddYardScreen() {
  const { route } = useLocation();
  const { sending, problems, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const added = await send(() => laterApi.addYard({ name: readText(data, "name"), zone: readText(data, "zone") }));
    if (added === null) return;
    await refreshHome();
    route(`/yards/${added.yard.id}`, true);
  };
  return (
    <Screen title={title} back={backToFeeders}>
      <p>{introText}</p>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={formError} />
        <Field
          label={nameLabel}
          problem={problems.name}
          input={{ name: "name", required: true, maxLength: 60, autocomplete: "off" }}
        />
        <ZoneField zone={Intl.DateTimeFormat().resolvedOptions().timeZone} isUsable={true} problem={problems.zone} />
        <div class="actions">
          <button type="submit" class="main" disabled={sending}>
            {addLabel}
          </button>
        </div>
      </form>
    </Screen>
  );
}
