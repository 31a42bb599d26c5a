import { useState } from "preact/hooks";
import {
  deleteLabel,
  endText,
  endTitle,
  faultHint,
  faultTitle,
  goToLabel,
  introText,
  onFeederText,
  onlyKeepersText,
  startFaultLabel,
  startLabel,
  title,
  watchLabel,
} from "#text/practiceScreen.ts";
import type { FeederView, PracticeFault } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { Choice, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { type Change, type ControlProps, PracticeProgramme } from "../components/practiceProgramme.tsx";
import { Screen } from "../components/screen.tsx";
import { acceptHome, home, yards } from "../state/home.ts";
import { chosenFaultText, practiceFaultText } from "../text/practice.ts";

/** Simulated feeders to learn on: everything else about them is real. */
export function PracticeScreen() {
  const { sending, formError, send } = useFormSubmit();
  const change: Change = async (request) => {
    const view = await send(request);
    if (view !== null) acceptHome(view);
    return view !== null;
  };
  return (
    <Screen title={title}>
      <p>{introText}</p>
      <FormError text={formError} />
      <PracticeControls busy={sending} change={change} />
      <PracticeProgramme busy={sending} change={change} />
    </Screen>
  );
}

function PracticeControls({ busy, change }: ControlProps) {
  if (!yards.value.some((yard) => yard.role === "keeper")) return <p class="hint">{onlyKeepersText}</p>;
  if (home.value?.view.practice.running !== true) {
    return (
      <div class="actions">
        <button type="button" class="main" disabled={busy} onClick={() => void change(laterApi.startPractice)}>
          {startLabel}
        </button>
      </div>
    );
  }
  const lived = home.value.view.practice.programme?.yard;
  const feeders = yards.value.filter(({ practice, id }) => practice && id !== lived).flatMap((yard) => yard.feeders);
  return (
    <>
      {feeders.map((feeder) => (
        <p key={feeder.id} class="page-link">
          <a href={`/feeders/${feeder.id}`}>{goToLabel(feeder.name)}</a>
        </p>
      ))}
      <FaultForm busy={busy} change={change} feeders={feeders} />
      <section class="subsection" aria-labelledby="end-title">
        <h2 id="end-title">{endTitle}</h2>
        <p>{endText}</p>
        <button type="button" class="danger" disabled={busy} onClick={() => void change(laterApi.endPractice)}>
          {deleteLabel}
        </button>
      </section>
    </>
  );
}

function FaultForm({ busy, change, feeders }: ControlProps & { readonly feeders: readonly FeederView[] }) {
  const [chosen, setChosen] = useState<PracticeFault | null>(null); // on this visit
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const fault = readText(new FormData(event.currentTarget as HTMLFormElement), "fault") as PracticeFault;
    if (await change(() => laterApi.practiceFault(fault))) setChosen(fault);
  };
  const shownBy = chosen === null ? undefined : feeders.find(({ name }) => name === practiceFaultText[chosen].feeder);
  return (
    <form onSubmit={(event) => void submit(event)}>
      <fieldset class="faults">
        <legend>{faultTitle}</legend>
        <p class="hint">{faultHint}</p>
        {(Object.keys(practiceFaultText) as PracticeFault[]).map((fault) => (
          <FaultChoice key={fault} fault={fault} />
        ))}
      </fieldset>
      <div class="sticky">
        <p role="status">
          {chosen !== null && chosenFaultText(chosen)}{" "}
          {shownBy !== undefined && <a href={`/feeders/${shownBy.id}`}>{watchLabel(shownBy.name)}</a>}
        </p>
        <div class="actions">
          <button type="submit" class="main" disabled={busy}>
            {startFaultLabel}
          </button>
        </div>
      </div>
    </form>
  );
}

/** `faultHint` names the feeder of all faults but these. */
const namedFeeder = "Larch";

function FaultChoice({ fault }: { readonly fault: PracticeFault }) {
  const { title: label, outcome, feeder } = practiceFaultText[fault];
  return (
    <Choice
      type="radio"
      label={label}
      hint={feeder === namedFeeder ? `${outcome} ${onFeederText(feeder)}` : outcome}
      input={{ name: "fault", value: fault, defaultChecked: home.value?.view.practice.fault === fault }}
    />
  );
}
