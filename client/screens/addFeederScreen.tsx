import { useState } from "preact/hooks";
import type { AddedFeederView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { OptionalFields, RequiredFields, readFeederFields } from "../components/feederFields.tsx";
import { FeederKey } from "../components/feederKey.tsx";
import { Choice, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { useFoodInput } from "../components/foodFields.tsx";
import { Screen } from "../components/screen.tsx";
import { refreshHome, yards } from "../state/home.ts";

/** Three questions, then a key: the rest can wait. */
export function AddFeederScreen() {
  const { sending, problems, said, form, send } = useFormSubmit();
  const [added, setAdded] = useState<AddedFeederView | null>(null);
  const food = useFoodInput();
  const places = yards.value.filter((yard) => !yard.practice && yard.role === "keeper");

  if (added !== null) {
    const { feeder, key } = added;
    return (
      <Screen key="added" title={`${feeder.name} may report`} back={{ href: "/", name: "Feeders" }}>
        <FeederKey feeder={feeder.id} name={feeder.name} secret={key} fresh />
        <p class="answers">
          <a class="button main" href={`/feeders/${feeder.id}`}>
            Go to {feeder.name}
          </a>
        </p>
      </Screen>
    );
  }

  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const element = event.currentTarget as HTMLFormElement;
    const yard = readText(new FormData(element), "yard") || (places[0]?.id ?? "");
    const answer = await send(() =>
      laterApi.addFeeder({ name: "", ...readFeederFields(element, food.changed.kind !== undefined), yard }),
    );
    if (answer === null) return;
    await refreshHome();
    setAdded(answer);
  };
  return (
    <Screen title="Add a feeder" back={{ href: "/", name: "Feeders" }}>
      <p>
        Before it feeds anyone, read the <a href="/cautions">usual cautions</a>: birds, food, litter, mains and
        batteries.
      </p>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={said} />
        {places.length > 1 && (
          <fieldset>
            <legend>In which yard?</legend>
            {places.map((yard, index) => (
              <Choice
                key={yard.id}
                type="radio"
                label={yard.name}
                input={{ name: "yard", value: yard.id, defaultChecked: index === 0 }}
              />
            ))}
          </fieldset>
        )}
        <RequiredFields settings={{}} problems={problems} food={food} />
        <details class="further">
          <summary>Portion, sensors, battery</summary>
          <p class="hint">
            Can be said later. Until then a sensor that reports is taken to be fitted, and what rests on a usual weight
            says so.
          </p>
          <OptionalFields settings={{}} problems={problems} food={food} />
        </details>
        <div class="answers">
          <button type="submit" class="main" disabled={sending || places.length === 0}>
            Add the feeder
          </button>
        </div>
      </form>
    </Screen>
  );
}
