import { useState } from "preact/hooks";
import type { AddedFeederView } from "../../server/contract/api.ts";
import { FirstFields, FurtherFields, readFeederFields } from "../parts/feederFields.tsx";
import { Choice, Said, textIn, useSending } from "../parts/field.tsx";
import { useFood } from "../parts/foodFields.tsx";
import { KeyOnce } from "../parts/keyOnce.tsx";
import { Screen } from "../parts/screen.tsx";
import { laterApi } from "../reach/laterApi.ts";
import { refreshHome, yards } from "../state/home.ts";

/** Three questions, then a key: the rest can wait. */
export function AddFeederScreen() {
  const { sending, problems, said, form, send } = useSending();
  const [added, setAdded] = useState<AddedFeederView | null>(null);
  const food = useFood();
  const places = yards.value.filter((yard) => !yard.practice && yard.role === "keeper");

  if (added !== null) {
    const { feeder, key } = added;
    return (
      <Screen key="added" title={`${feeder.name} may report`} back={{ href: "/", name: "Feeders" }}>
        <KeyOnce feeder={feeder.id} name={feeder.name} secret={key} fresh />
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
    const yard = textIn(new FormData(element), "yard") || (places[0]?.id ?? "");
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
        <Said words={said} />
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
        <FirstFields settings={{}} problems={problems} food={food} />
        <details class="further">
          <summary>Portion, sensors, battery</summary>
          <p class="hint">
            Can be said later. Until then a sensor that reports is taken to be fitted, and what rests on a usual weight
            says so.
          </p>
          <FurtherFields settings={{}} problems={problems} food={food} />
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
