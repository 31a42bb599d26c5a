import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { saveLabel } from "#text/common.ts";
import {
  changeYardLabel,
  dataText,
  dataTitle,
  downloadLabel,
  enterLocationLabel,
  keyTitle,
  latitudeText,
  locationText,
  locationTitle,
  longitudeText,
  newKeyLabel,
  newKeyText,
  newKeyTitle,
  noLocationText,
  removeLabel,
  removeSummary,
  removeText,
  removeTitle,
  savedText,
  taperLabel,
  title,
} from "#text/feederSettingsScreen.ts";
import { feederNotFoundText, onlyKeepersText, settingsTitle } from "#text/screens.ts";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { DutyFields, OptionalFields, RequiredFields, readFeederFields } from "../components/feederFields.tsx";
import { FeederKey } from "../components/feederKey.tsx";
import { FormError, useFormSubmit } from "../components/field.tsx";
import { useFoodInput } from "../components/foodFields.tsx";
import { noteSaved } from "../components/savedNote.tsx";
import { Screen } from "../components/screen.tsx";
import { CompareButton, SettingsComparison, useComparison } from "../components/settingsComparison.tsx";
import { UndetectableFaults } from "../components/undetectableFaults.tsx";
import { changeBack } from "../state/changeBack.ts";
import { acceptFeeder, findFeeder, refreshHome } from "../state/home.ts";
import { earlierValues } from "../state/saved.ts";
import { notFoundScreen } from "./notFound.tsx";

interface FeederProps {
  readonly feeder: FeederView;
}

export function FeederSettingsScreen(props: { readonly id: string }) {
  const found = findFeeder(props.id);
  if (found === null) return notFoundScreen(title, feederNotFoundText);
  const { feeder, yard } = found;
  const back = { href: `/feeders/${feeder.id}`, name: feeder.name };
  if (yard.role !== "keeper") {
    return (
      <Screen title={settingsTitle(feeder.name)} back={back}>
        <p class="empty">{onlyKeepersText(yard.name)}</p>
      </Screen>
    );
  }
  return (
    <Screen title={settingsTitle(feeder.name)} practice={feeder.practice} back={back}>
      <SettingsForm feeder={feeder} zone={yard.zone} />
      <LocationSection yard={yard} />
      {!feeder.practice && <KeySection feeder={feeder} />}
      <DataSection feeder={feeder} />
      <RemoveSection feeder={feeder} />
    </Screen>
  );
}

function SettingsForm({ feeder, zone }: FeederProps & { readonly zone: string }) {
  const { route } = useLocation();
  const { sending, problems, formError, form, send } = useFormSubmit();
  const food = useFoodInput();
  const comparison = useComparison(feeder.id);
  const readChange = () => (form.current ? readFeederFields(form.current, food.changed.kind !== undefined) : {});
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    comparison.cancel();
    const change = readChange();
    const before = earlierValues(change, feeder.settings);
    const changed = await send(() => laterApi.changeFeeder(feeder.id, change));
    if (changed === null) return;
    acceptFeeder(changed);
    noteSaved(savedText, before === null ? null : () => changeBack(feeder.id, before));
    route(`/feeders/${feeder.id}`);
  };
  const fields = { settings: feeder.settings, problems: { ...problems, ...comparison.problems } };
  return (
    <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
      <FormError text={formError} />
      <RequiredFields {...fields} food={food} />
      <DutyFields {...fields} />
      <OptionalFields
        {...fields}
        food={food}
        learnt={feeder.hopper.portionText}
        spots={<UndetectableFaults feeder={feeder} open />}
      />
      <div class="actions">
        <button type="submit" class="main" disabled={sending}>
          {saveLabel}
        </button>
        <CompareButton comparison={comparison} onStart={() => comparison.start(readChange())} />
      </div>
      <SettingsComparison comparison={comparison} zone={zone} />
    </form>
  );
}

/** The location is entered once for the whole yard. */
function LocationSection({ yard }: { readonly yard: YardView }) {
  const { name, place, zone } = yard;
  return (
    <section class="subsection" aria-labelledby="place-title">
      <h2 id="place-title">{locationTitle}</h2>
      <p>
        {place === null
          ? noLocationText(name, zone)
          : locationText(name, latitudeText(place.latitudeDegrees), longitudeText(place.longitudeDegrees), zone)}{" "}
        {!yard.practice && <a href={`/yards/${yard.id}`}>{place === null ? enterLocationLabel : changeYardLabel}</a>}
      </p>
    </section>
  );
}

function KeySection({ feeder }: FeederProps) {
  const { sending, formError, send } = useFormSubmit();
  const [key, setKey] = useState<string | null>(null);
  const makeKey = async () => {
    const made = await send(() => laterApi.newKey(feeder.id));
    if (made !== null) setKey(made.key);
  };
  return (
    <section class="subsection" aria-labelledby="key-title">
      <h2 id="key-title">{keyTitle}</h2>
      {key === null ? (
        <details>
          <summary>{newKeyTitle}</summary>
          <p>{newKeyText}</p>
          <FormError text={formError} />
          <button type="button" disabled={sending} onClick={() => void makeKey()}>
            {newKeyLabel(feeder.name)}
          </button>
        </details>
      ) : (
        <FeederKey feeder={feeder.id} name={feeder.name} secret={key} fresh={false} />
      )}
    </section>
  );
}

const DataSection = ({ feeder }: FeederProps) => (
  <section class="subsection" aria-labelledby="record-title">
    <h2 id="record-title">{dataTitle}</h2>
    <p>
      {dataText(feeder.name)}{" "}
      <a href={`/api/v1/feeders/${feeder.id}/log`} download={`${feeder.id}.ndjson`}>
        {downloadLabel}
      </a>
    </p>
  </section>
);

function RemoveSection({ feeder }: FeederProps) {
  const { route } = useLocation();
  const { sending, formError, send } = useFormSubmit();
  const remove = async () => {
    if ((await send(() => withoutContent(laterApi.removeFeeder(feeder.id)))) === null) return;
    await refreshHome();
    route("/");
  };
  return (
    <section class="subsection" aria-labelledby="remove-title">
      <h2 id="remove-title">{removeTitle}</h2>
      <details>
        <summary>{removeSummary(feeder.name)}</summary>
        <p>{removeText}</p>
        {!feeder.practice && (
          <p>
            <a href={`/feeders/${feeder.id}/plan#taper`}>{taperLabel}</a>
          </p>
        )}
        <FormError text={formError} />
        <button type="button" class="danger" disabled={sending} onClick={() => void remove()}>
          {removeLabel(feeder.name)}
        </button>
      </details>
    </section>
  );
}
