import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import type { YardView } from "../../server/contract/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { DutyFields, OptionalFields, RequiredFields, readFeederFields } from "../components/feederFields.tsx";
import { FeederKey } from "../components/feederKey.tsx";
import { FormError, useFormSubmit } from "../components/field.tsx";
import { useFoodInput } from "../components/foodFields.tsx";
import { Screen } from "../components/screen.tsx";
import { UndetectableFaults } from "../components/undetectableFaults.tsx";
import { announce } from "../state/announcement.ts";
import { acceptFeeder, findFeeder, refreshHome } from "../state/home.ts";

export function FeederSettingsScreen(props: { readonly id: string }) {
  const { route } = useLocation();
  const changing = useFormSubmit();
  const removing = useFormSubmit();
  const keying = useFormSubmit();
  const food = useFoodInput();
  const [key, setKey] = useState<string | null>(null);
  const found = findFeeder(props.id);
  if (found === null) {
    return (
      <Screen title="Settings" back={{ href: "/", name: "Feeders" }}>
        <p class="empty">This feeder isn't known on this phone.</p>
      </Screen>
    );
  }
  const { feeder, yard } = found;
  if (yard.role !== "keeper") {
    return (
      <Screen title={`Settings of ${feeder.name}`} back={{ href: `/feeders/${feeder.id}`, name: feeder.name }}>
        <p class="empty">Only keepers of {yard.name} change these.</p>
      </Screen>
    );
  }

  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const element = event.currentTarget as HTMLFormElement;
    const changed = await changing.send(() =>
      laterApi.changeFeeder(feeder.id, readFeederFields(element, food.changed.kind !== undefined)),
    );
    if (changed === null) return;
    acceptFeeder(changed);
    announce("Settings written down.");
    route(`/feeders/${feeder.id}`);
  };
  const remove = async () => {
    if ((await removing.send(() => withoutContent(laterApi.removeFeeder(feeder.id)))) === null) return;
    await refreshHome();
    route("/");
  };
  const makeKey = async () => {
    const made = await keying.send(() => laterApi.newKey(feeder.id));
    if (made !== null) setKey(made.key);
  };

  return (
    <Screen
      title={`Settings of ${feeder.name}`}
      practice={feeder.practice}
      back={{ href: `/feeders/${feeder.id}`, name: feeder.name }}
    >
      <form ref={changing.form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={changing.said} />
        <RequiredFields settings={feeder.settings} problems={changing.problems} food={food} />
        <DutyFields settings={feeder.settings} problems={changing.problems} />
        <OptionalFields
          settings={feeder.settings}
          problems={changing.problems}
          food={food}
          learnt={feeder.hopper.portionText}
          spots={<UndetectableFaults feeder={feeder} open />}
        />
        <div class="answers">
          <button type="submit" class="main" disabled={changing.sending}>
            Write it down
          </button>
        </div>
      </form>
      <Place yard={yard} />
      {!feeder.practice && (
        <section class="after" aria-labelledby="key-title">
          <h2 id="key-title">Key</h2>
          {key === null ? (
            <details>
              <summary>Make a new key…</summary>
              <p>The key it has now stops working at once. The feeder is silent until it is given the new one.</p>
              <FormError text={keying.said} />
              <button type="button" disabled={keying.sending} onClick={() => void makeKey()}>
                Make a new key for {feeder.name}
              </button>
            </details>
          ) : (
            <FeederKey feeder={feeder.id} name={feeder.name} secret={key} fresh={false} />
          )}
        </section>
      )}
      <section class="after" aria-labelledby="record-title">
        <h2 id="record-title">Record</h2>
        <p>
          All that {feeder.name} ever told, as a file to keep or to study.{" "}
          <a href={`/api/v1/feeders/${feeder.id}/log`} download={`${feeder.id}.ndjson`}>
            Download its record
          </a>
        </p>
      </section>
      <section class="after" aria-labelledby="remove-title">
        <h2 id="remove-title">Remove</h2>
        <details>
          <summary>Remove {feeder.name}…</summary>
          <p>
            Its record goes with it, and it can't be brought back. Birds that count on a feeder should be weaned: feed
            less from day to day before you take it down.
          </p>
          <FormError text={removing.said} />
          <button type="button" class="grave" disabled={removing.sending} onClick={() => void remove()}>
            Remove {feeder.name} and its record
          </button>
        </details>
      </section>
    </Screen>
  );
}

/** Where it stands is said once for the whole yard. */
function Place({ yard }: { readonly yard: YardView }) {
  const { place, zone } = yard;
  return (
    <section class="after" aria-labelledby="place-title">
      <h2 id="place-title">Place</h2>
      <p>
        {place === null
          ? `Where ${yard.name} lies isn't known yet, so night and day can't be told. Its clock is that of ${zone}.`
          : `${yard.name} lies at ${degreesText(place.latitudeDegrees, "north", "south")}, ${degreesText(place.longitudeDegrees, "east", "west")}, with the clock of ${zone}.`}{" "}
        {!yard.practice && <a href={`/yards/${yard.id}`}>{place === null ? "Say where it is" : "Change the yard"}</a>}
      </p>
    </section>
  );
}
const degreesText = (degrees: number, above: string, below: string) =>
  `${Math.abs(degrees)}° ${degrees < 0 ? below : above}`;
