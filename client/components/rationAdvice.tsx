import { useState } from "preact/hooks";
import * as text from "#text/rationAdvice.ts";
import type { FeederView, FoodView, RationView } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { foods } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { FormError, NumberField, readNumber, readText, SelectField, useFormSubmit } from "./field.tsx";

type Species = keyof typeof text.speciesLabels;
const species = Object.keys(text.speciesLabels) as Species[];

/** The most that a day's ration should be, by the birds that the keeper counts. */
export function RationAdvice({ feeder }: { readonly feeder: FeederView }) {
  const { sending, problems, formError, form, send } = useFormSubmit();
  const [advice, setAdvice] = useState<RationView | null>(null);
  const calculate = async (event: SubmitEvent) => {
    event.preventDefault();
    setAdvice(null);
    const asked = readFields(new FormData(form.current as HTMLFormElement));
    const found = await send(() => laterApi.ration(feeder.id, asked));
    if (found !== null) setAdvice(found);
  };
  return (
    <details>
      <summary>{text.title}</summary>
      <form ref={form} onSubmit={(event) => void calculate(event)} noValidate>
        <p class="hint">{text.hint}</p>
        <FormError text={problems.birds === undefined ? formError : text.birdsProblem} />
        {species.map((name) => (
          <NumberField
            key={name}
            {...{ name, label: text.speciesLabels[name], unit: text.birdsUnit, min: 0, max: 200, whole: true }}
            problem={undefined}
            value={undefined}
          />
        ))}
        <FoodFields kind={feeder.settings.foodKind} problem={problems.energyKilojoulesPerGram} />
        <div class="actions">
          <button type="submit" disabled={sending}>
            {text.calculateLabel}
          </button>
        </div>
        <p role="status">{advice?.text}</p>
      </form>
    </details>
  );
}

function readFields(fields: FormData) {
  const birds = species.flatMap((name) => {
    const count = readNumber(fields, name);
    return count === undefined || count === 0 ? [] : [{ species: name, count }];
  });
  const energy = readNumber(fields, "energyKilojoulesPerGram");
  const food = readText(fields, "food") as FoodView["kind"];
  return { birds, food, ...(energy === undefined ? {} : { energyKilojoulesPerGram: energy }) };
}

/** Of food without a kind only its label says how much energy it has. */
function FoodFields(props: { readonly kind: FoodView["kind"] | undefined; readonly problem: string | undefined }) {
  const [food, setFood] = useState(props.kind ?? foods.value[0]?.kind ?? "other");
  return (
    <>
      <SelectField
        label={text.foodLabel}
        choices={foods.value.map((each) => ({ value: each.kind, label: capitalize(each.name) }))}
        select={{
          name: "food",
          value: food,
          onChange: (event) => setFood(event.currentTarget.value as FoodView["kind"]),
        }}
      />
      {food === "other" && (
        <NumberField
          {...{ name: "energyKilojoulesPerGram", label: text.energyLabel, unit: text.energyUnit, min: 1, max: 40 }}
          problem={props.problem}
          value={undefined}
        />
      )}
    </>
  );
}
