import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { paths } from "../api/api.ts";
import { Choice, Field, FormError, readNumber } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { performOnFeeder } from "../state/actions.ts";
import { findFeeder } from "../state/home.ts";
import { massText } from "../text/amount.ts";

type Kind = "filled" | "added" | "level";

/** The keeper tells of a refill: the one thing no feeder without a scale can find out. */
export function RefillScreen(props: { readonly id: string }) {
  const { route } = useLocation();
  const [kind, setKind] = useState<Kind>("filled");
  const [busy, setBusy] = useState(false);
  const [problem, setProblem] = useState<string | null>(null);
  const found = findFeeder(props.id);
  if (found === null) {
    return (
      <Screen title="Refill" back={{ href: "/", name: "Feeders" }}>
        <p class="empty">This feeder isn't known on this phone.</p>
      </Screen>
    );
  }
  const { feeder } = found;
  const capacity = feeder.hopper.capacityGrams;

  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const form = event.currentTarget as HTMLFormElement;
    const grams = readNumber(new FormData(form), "grams");
    if (
      kind !== "filled" &&
      (grams === undefined || !Number.isFinite(grams) || grams < 0 || (kind === "added" && grams === 0))
    ) {
      setProblem("say how many grams");
      form.querySelector<HTMLElement>("[name=grams]")?.focus();
      return;
    }
    const what = kind === "filled" ? { kind } : { kind, grams: grams as number };
    const words =
      kind === "filled"
        ? "refill to the brim"
        : kind === "added"
          ? `refill of ${massText(grams ?? 0)}`
          : `level ${massText(grams ?? 0)}`;
    setBusy(true);
    const outcome = await performOnFeeder(feeder, {
      kind: "refill",
      path: paths.refills(feeder.id),
      text: words,
      body: (id, at) => ({ id, at, what }),
    });
    setBusy(false);
    if (outcome === "refused") setProblem("the server did not accept it: see the note above");
    else route(`/feeders/${feeder.id}`);
  };

  const pick = (picked: Kind) => ({
    name: "kind",
    value: picked,
    checked: kind === picked,
    onChange: () => {
      setKind(picked);
      setProblem(null);
    },
  });
  return (
    <Screen
      title={`Refill ${feeder.name}`}
      practice={feeder.practice}
      back={{ href: `/feeders/${feeder.id}`, name: feeder.name }}
    >
      <form onSubmit={(event) => void submit(event)} noValidate>
        <fieldset>
          <legend>What did you do?</legend>
          <Choice
            type="radio"
            label="Filled it to the brim"
            hint={
              feeder.hopper.capacityAssumed
                ? `Nobody has said what a full one holds: it then counts as ${massText(capacity)}, as is usual.`
                : `${massText(capacity)} of ${feeder.settings.food ?? "food"}`
            }
            input={pick("filled")}
          />
          <Choice type="radio" label="Put some in" input={pick("added")} />
          <Choice type="radio" label="Looked, and saw how much is in it" input={pick("level")} />
        </fieldset>
        {kind !== "filled" && (
          <Field
            label={kind === "added" ? "How much went in" : "How much is in it"}
            unit="g"
            problem={problem ?? undefined}
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
        )}
        {kind === "filled" && <FormError text={problem} />}
        <p class="hint">
          Throw out wet or mouldy food, and clean the tray before you fill up. <a href="/cautions">Usual cautions</a>
        </p>
        <div class="answers">
          <button type="submit" class="main" disabled={busy}>
            Write it down
          </button>
        </div>
      </form>
    </Screen>
  );
}
