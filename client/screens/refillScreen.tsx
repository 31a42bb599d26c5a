import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { Choice, Field, numberIn, Said } from "../parts/field.tsx";
import { Screen } from "../parts/screen.tsx";
import { paths } from "../reach/api.ts";
import { act } from "../state/acts.ts";
import { findFeeder } from "../state/home.ts";
import { massWords } from "../words/amount.ts";

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
    const grams = numberIn(new FormData(form), "grams");
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
          ? `refill of ${massWords(grams ?? 0)}`
          : `level ${massWords(grams ?? 0)}`;
    setBusy(true);
    const outcome = await act(feeder, {
      kind: "refill",
      path: paths.refills(feeder.id),
      words,
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
                ? `Nobody has said what a full one holds: it then counts as ${massWords(capacity)}, as is usual.`
                : `${massWords(capacity)} of ${feeder.settings.food ?? "food"}`
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
        {kind === "filled" && <Said words={problem} />}
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
