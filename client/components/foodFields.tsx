import { useState } from "preact/hooks";
import * as text from "#text/foodFields.ts";
import { chooseOption } from "#text/forms.ts";
import type { FeederView, FoodView } from "../../server/contract/api.ts";
import { foods } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { initialFoodKind, type PortionInput, portionPreview } from "../text/food.ts";
import { Field, FieldGroup, NumberField, parseNumber, SelectField } from "./field.tsx";
import { LinkedText } from "./linkedText.tsx";

type Settings = FeederView["settings"];
type Problems = Readonly<Record<string, string>>;

/** What is entered about food and portion: the list of foods and the portion's fields are apart, and belong together. */
export function useFoodInput() {
  const [changed, setChanged] = useState<Partial<PortionInput>>({});
  return { changed, change: (part: Partial<PortionInput>) => setChanged((before) => ({ ...before, ...part })) };
}
type FoodInput = ReturnType<typeof useFoodInput>;

interface FoodProps {
  readonly settings: Partial<Settings>;
  readonly problems: Problems;
  readonly food: FoodInput;
}

export function FoodFields({ settings, problems, food }: FoodProps) {
  const kind = food.changed.kind ?? initialFoodKind(settings);
  const choices = foods.value.map((each) => ({ value: each.kind, label: capitalize(each.name) }));
  return (
    <>
      <SelectField
        label={text.foodLabel}
        hint={<LinkedText text={text.foodHint} hrefs={["/cautions"]} />}
        problem={problems.foodKind}
        choices={initialFoodKind(settings) === "" ? [{ value: "", label: chooseOption }, ...choices] : choices}
        select={{
          name: "foodKind",
          value: kind,
          onChange: (event) => food.change({ kind: event.currentTarget.value as FoodView["kind"] | "" }),
        }}
      />
      {kind === "other" && (
        <Field
          label={text.foodNameLabel}
          hint={text.foodNameHint}
          problem={problems.food}
          input={{
            name: "food",
            maxLength: 60,
            autocomplete: "off",
            defaultValue: initialFoodKind(settings) === "other" ? (settings.food ?? "") : "",
          }}
        />
      )}
    </>
  );
}

/** `learnt`: the measured weight of the feeder's portions, as a sentence; null where there is none yet. */
export function PortionFields({ settings, problems, food, learnt }: FoodProps & { readonly learnt: string | null }) {
  const input: PortionInput = {
    kind: initialFoodKind(settings),
    pieces: settings.grainsPerPortion,
    tenGrams: undefined,
    ...food.changed,
  };
  return (
    <FieldGroup legend={text.portionLegend} hint={learnt ?? undefined}>
      <NumberField
        name="grainsPerPortion"
        label={text.piecesLabel}
        hint={text.piecesHint}
        unit={text.piecesUnit}
        problem={problems.grainsPerPortion}
        min={1}
        max={1_000}
        whole
        value={settings.grainsPerPortion}
        onInput={(entered) => food.change({ pieces: parseNumber(entered) })}
      />
      <NumberField
        name="tenPortionsGrams"
        label={text.tenPortionsLabel}
        hint={text.tenPortionsHint}
        unit={text.gramsUnit}
        problem={problems.tenPortionsGrams}
        min={1}
        max={1_000}
        value={undefined}
        onInput={(entered) => food.change({ tenGrams: parseNumber(entered) })}
      />
      <p role="status">{portionPreview(input, settings, foods.value)}</p>
    </FieldGroup>
  );
}
