import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { safetyInformationLabel, saveLabel } from "#text/common.ts";
import {
  addedAction,
  addedGramsLabel,
  addedLabel,
  assumedCapacityHint,
  capacityHint,
  cleanText,
  enterGramsText,
  filledAction,
  filledLabel,
  gramsUnit,
  levelAction,
  levelGramsLabel,
  levelLabel,
  notFoundTitle,
  notSavedText,
  question,
  title,
  unnamedFood,
} from "#text/refillScreen.ts";
import { feederNotFoundText } from "#text/screens.ts";
import type { FeederView } from "../../server/contract/api.ts";
import { paths } from "../api/api.ts";
import { Choice, Field, FormError, readNumber } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { performOnFeeder } from "../state/actions.ts";
import { findFeeder } from "../state/home.ts";
import { massText } from "../text/amount.ts";
import { notFoundScreen } from "./notFound.tsx";

type Kind = "filled" | "added" | "level";

/** The keeper enters a refill: the one thing that a feeder without a scale can't measure. */
export function RefillScreen(props: { readonly id: string }) {
  const found = findFeeder(props.id);
  if (found === null) return notFoundScreen(notFoundTitle, feederNotFoundText);
  const { feeder } = found;
  return (
    <Screen
      title={title(feeder.name)}
      practice={feeder.practice}
      back={{ href: `/feeders/${feeder.id}`, name: feeder.name }}
    >
      <RefillForm feeder={feeder} />
    </Screen>
  );
}

function RefillForm({ feeder }: { readonly feeder: FeederView }) {
  const { route } = useLocation();
  const [kind, setKind] = useState<Kind>("filled");
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<string | null>(null);
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const form = event.currentTarget as HTMLFormElement;
    const grams = readNumber(new FormData(form), "grams");
    if (!isAmount(kind, grams)) {
      setProblem(enterGramsText);
      form.querySelector<HTMLElement>("[name=grams]")?.focus();
      return;
    }
    setBusy(true);
    const outcome = await performRefill(feeder, kind, grams ?? 0);
    setBusy(false);
    if (outcome === "refused") setProblem(notSavedText);
    else route(`/feeders/${feeder.id}`);
  };
  const pick = (picked: Kind) => {
    setKind(picked);
    setProblem(null);
  };
  return (
    <form onSubmit={(event) => void submit(event)} noValidate>
      <KindChoice feeder={feeder} kind={kind} pick={pick} />
      {kind === "filled" ? <FormError text={problem} /> : <GramsField kind={kind} problem={problem} />}
      <p class="hint">
        {cleanText} <a href="/cautions">{safetyInformationLabel}</a>
      </p>
      <div class="actions">
        <button type="submit" class="main" disabled={busy}>
          {saveLabel}
        </button>
      </div>
    </form>
  );
}

/** Whether the amount makes sense: a level may be 0 g, an addition may not. */
function isAmount(kind: Kind, grams: number | undefined): boolean {
  if (kind === "filled") return true;
  if (grams === undefined || !Number.isFinite(grams)) return false;
  return kind === "added" ? grams > 0 : grams >= 0;
}

function performRefill(feeder: FeederView, kind: Kind, grams: number) {
  const what = kind === "filled" ? { kind } : { kind, grams };
  return performOnFeeder(feeder, {
    kind: "refill",
    path: paths.refills(feeder.id),
    text: actionText(kind, grams),
    body: (id, at) => ({ id, at, what }),
  });
}

function actionText(kind: Kind, grams: number): string {
  switch (kind) {
    case "filled":
      return filledAction;
    case "added":
      return addedAction(massText(grams));
    case "level":
      return levelAction(massText(grams));
  }
}

function KindChoice(props: { readonly feeder: FeederView; readonly kind: Kind; readonly pick: (kind: Kind) => void }) {
  const { hopper, settings } = props.feeder;
  const capacity = massText(hopper.capacityGrams);
  const input = (value: Kind) => ({
    name: "kind",
    value,
    checked: props.kind === value,
    onChange: () => props.pick(value),
  });
  return (
    <fieldset>
      <legend>{question}</legend>
      <Choice
        type="radio"
        label={filledLabel}
        hint={
          hopper.capacityAssumed ? assumedCapacityHint(capacity) : capacityHint(capacity, settings.food ?? unnamedFood)
        }
        input={input("filled")}
      />
      <Choice type="radio" label={addedLabel} input={input("added")} />
      <Choice type="radio" label={levelLabel} input={input("level")} />
    </fieldset>
  );
}

const GramsField = (props: { readonly kind: Kind; readonly problem: string | null }) => (
  <Field
    label={props.kind === "added" ? addedGramsLabel : levelGramsLabel}
    unit={gramsUnit}
    problem={props.problem ?? undefined}
    input={{
      name: "grams",
      type: "number",
      inputMode: "decimal",
      min: 0,
      max: 50_000,
      step: "any",
      required: true,
      autocomplete: "off",
    }}
  />
);
