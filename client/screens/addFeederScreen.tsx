import { useState } from "preact/hooks";
import {
  addedTitle,
  addLabel,
  goToLabel,
  optionalText,
  optionalTitle,
  safetyText,
  title,
  yardQuestion,
} from "#text/addFeederScreen.ts";
import type { AddedFeederView, YardView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { OptionalFields, RequiredFields, readFeederFields } from "../components/feederFields.tsx";
import { FeederKey } from "../components/feederKey.tsx";
import { Choice, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { useFoodInput } from "../components/foodFields.tsx";
import { LinkedText } from "../components/linkedText.tsx";
import { Screen } from "../components/screen.tsx";
import { refreshHome, yards } from "../state/home.ts";
import { backToFeeders } from "./notFound.tsx";

/** Three questions, then a key: the rest is optional. */
export function AddFeederScreen() {
  const [added, setAdded] = useState<AddedFeederView | null>(null);
  if (added !== null) return <AddedFeeder added={added} />;
  return (
    <Screen title={title} back={backToFeeders}>
      <p>
        <LinkedText text={safetyText} hrefs={["/cautions"]} />
      </p>
      <AddForm onAdded={setAdded} />
    </Screen>
  );
}

const AddedFeeder = ({ added: { feeder, key } }: { readonly added: AddedFeederView }) => (
  <Screen title={addedTitle(feeder.name)} back={backToFeeders}>
    <FeederKey feeder={feeder.id} name={feeder.name} secret={key} fresh />
    <p class="actions">
      <a class="button main" href={`/feeders/${feeder.id}`}>
        {goToLabel(feeder.name)}
      </a>
    </p>
  </Screen>
);

function AddForm({ onAdded }: { readonly onAdded: (feeder: AddedFeederView) => void }) {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const food = useFoodInput();
  const ownYards = yards.value.filter((yard) => !yard.practice && yard.role === "keeper");
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const element = event.currentTarget as HTMLFormElement;
    const yard = readText(new FormData(element), "yard") || (ownYards[0]?.id ?? "");
    const result = await send(() =>
      laterApi.addFeeder({ name: "", ...readFeederFields(element, food.changed.kind !== undefined), yard }),
    );
    if (result === null) return;
    await refreshHome();
    onAdded(result);
  };
  return (
    <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
      <FormError text={formError} />
      {ownYards.length > 1 && <YardChoice yards={ownYards} />}
      <RequiredFields settings={{}} problems={problems} food={food} />
      <details class="optional-details">
        <summary>{optionalTitle}</summary>
        <p class="hint">{optionalText}</p>
        <OptionalFields settings={{}} problems={problems} food={food} />
      </details>
      <div class="actions">
        <button type="submit" class="main" disabled={sending || ownYards.length === 0}>
          {addLabel}
        </button>
      </div>
    </form>
  );
}

const YardChoice = (props: { readonly yards: readonly YardView[] }) => (
  <fieldset>
    <legend>{yardQuestion}</legend>
    {props.yards.map((yard, index) => (
      <Choice
        key={yard.id}
        type="radio"
        label={yard.name}
        input={{ name: "yard", value: yard.id, defaultChecked: index === 0 }}
      />
    ))}
  </fieldset>
);
