import { useState } from "preact/hooks";
import type { FeederView, FoodView } from "../../server/contract/api.ts";
import { foods } from "../state/home.ts";
import { capitalize } from "../text/amount.ts";
import { initialFoodKind, type PortionInput, portionPreview } from "../text/food.ts";
import { Field, FieldGroup, NumberField, parseNumber, SelectField } from "./field.tsx";

type Settings = FeederView["settings"];
type Problems = Readonly<Record<string, string>>;

/** What is being said of food and portion: the list of foods and the portion's fields stand apart, and belong together. */
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
  const choices = foods.value.map((each) => ({ value: each.kind, words: capitalize(each.name) }));
  return (
    <>
      <SelectField
        label="What is in the hopper?"
        hint={
          <>
            Only unsalted, dry and fresh; never mouldy, peanuts least of all. No whole peanuts while birds have young:
            chicks choke on them. Local advice on feeding wild birds comes first. <a href="/cautions">Usual cautions</a>
          </>
        }
        problem={problems.foodKind}
        choices={initialFoodKind(settings) === "" ? [{ value: "", words: "Choose…" }, ...choices] : choices}
        select={{
          name: "foodKind",
          value: kind,
          onChange: (event) => food.change({ kind: event.currentTarget.value as FoodView["kind"] | "" }),
        }}
      />
      {kind === "other" && (
        <Field
          label="What do you call it?"
          hint="It stands where the hopper is told of: “about half full of …”."
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

/** `learnt`: what the feeder's portions have turned out to weigh, in words; null where there is none yet. */
export function PortionFields({ settings, problems, food, learnt }: FoodProps & { readonly learnt: string | null }) {
  const said: PortionInput = {
    kind: initialFoodKind(settings),
    pieces: settings.grainsPerPortion,
    tenGrams: undefined,
    ...food.changed,
  };
  return (
    <FieldGroup legend="One portion" hint={learnt ?? undefined}>
      <NumberField
        name="grainsPerPortion"
        label="Pieces in it"
        hint="Let it turn a few times and count: kernels or bits, as many as usually fall."
        unit="pieces"
        problem={problems.grainsPerPortion}
        min={1}
        max={1_000}
        whole
        value={settings.grainsPerPortion}
        onInput={(text) => food.change({ pieces: parseNumber(text) })}
      />
      <NumberField
        name="tenPortionsGrams"
        label="I weighed ten portions"
        hint="Better than counting, if you have a kitchen scale. Leave it empty if you haven't."
        unit="g together"
        problem={problems.tenPortionsGrams}
        min={1}
        max={1_000}
        value={undefined}
        onInput={(text) => food.change({ tenGrams: parseNumber(text) })}
      />
      <p role="status">{portionPreview(said, settings, foods.value)}</p>
    </FieldGroup>
  );
}
