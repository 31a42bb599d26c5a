import { useState } from "preact/hooks";
import type { PracticeFault } from "../../server/contract/api.ts";
import { laterApi } from "../api/laterApi.ts";
import { Choice, FormError, readText, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { acceptHome, home, yards } from "../state/home.ts";
import { chosenFaultText, practiceFaultText } from "../text/practice.ts";

/** A feeder that doesn't exist, to learn on: everything else about it is real. */
export function PracticeScreen() {
  const { sending, said, send } = useFormSubmit();
  const [chosen, setChosen] = useState<PracticeFault | null>(null); // chosen on this visit
  const practice = home.value?.view.practice;
  const running = practice?.running ?? false;
  const feeders = yards.value.filter((yard) => yard.practice).flatMap((yard) => yard.feeders);

  const mayPractise = yards.value.some((yard) => yard.role === "keeper");

  const shownBy = chosen === null ? undefined : feeders.find(({ name }) => name === practiceFaultText[chosen].feeder);

  const begin = async () => {
    const view = await send(laterApi.startPractice);
    if (view !== null) acceptHome(view);
  };
  const end = async () => {
    const view = await send(laterApi.endPractice);
    if (view !== null) acceptHome(view);
  };
  const choose = async (event: SubmitEvent) => {
    event.preventDefault();
    const fault = readText(new FormData(event.currentTarget as HTMLFormElement), "fault") as PracticeFault;
    const view = await send(() => laterApi.practiceFault(fault));
    if (view === null) return;
    acceptHome(view);
    setChosen(fault);
  };

  return (
    <Screen title="Practice">
      <p>
        Two practice feeders are made up by the server and report as real ones would. Break one in whatever way you
        like, and see what reaches your phone. They are marked as practice wherever they appear, and never mix with your
        own record.
      </p>
      <FormError text={said} />
      {!mayPractise ? (
        <p class="hint">Only keepers start and end it.</p>
      ) : !running ? (
        <div class="answers">
          <button type="button" class="main" disabled={sending} onClick={() => void begin()}>
            Start practice
          </button>
        </div>
      ) : (
        <>
          {feeders.map((feeder) => (
            <p key={feeder.id} class="elsewhere">
              <a href={`/feeders/${feeder.id}`}>Go to {feeder.name}, practice</a>
            </p>
          ))}
          <form onSubmit={(event) => void choose(event)}>
            <fieldset class="faults">
              <legend>What goes wrong?</legend>
              <p class="hint">
                Unless Larch is named, Rowan shows it. Practice alarms come sooner than real ones, which wait longer to
                be sure.
              </p>
              {(Object.keys(practiceFaultText) as PracticeFault[]).map((fault) => (
                <Choice
                  key={fault}
                  type="radio"
                  label={practiceFaultText[fault].title}
                  hint={
                    practiceFaultText[fault].outcome + (practiceFaultText[fault].feeder === "Larch" ? " On Larch." : "")
                  }
                  input={{ name: "fault", value: fault, defaultChecked: practice?.fault === fault }}
                />
              ))}
            </fieldset>
            <div class="sticky">
              <p role="status">
                {chosen !== null && chosenFaultText(chosen)}{" "}
                {shownBy !== undefined && <a href={`/feeders/${shownBy.id}`}>Watch {shownBy.name}</a>}
              </p>
              <div class="answers">
                <button type="submit" class="main" disabled={sending}>
                  Let it happen
                </button>
              </div>
            </div>
          </form>
          <section class="after" aria-labelledby="end-title">
            <h2 id="end-title">Done practising</h2>
            <p>Removes the practice yard and all it has recorded, in one go. Your own yards aren't touched.</p>
            <button type="button" class="grave" disabled={sending} onClick={() => void end()}>
              Remove all practice
            </button>
          </section>
        </>
      )}
    </Screen>
  );
}
