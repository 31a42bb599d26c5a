import type { RefObject } from "preact";
import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import { saveLabel } from "#text/common.ts";
import { savedText } from "#text/savedNote.ts";
import { nameLabel, onlyKeepersText, yardNotFoundText } from "#text/screens.ts";
import {
  addYardLabel,
  digestTimeLabel,
  digestTitle,
  latitudeLabel,
  latitudeUnit,
  locatedText,
  locatingText,
  locationHint,
  locationTitle,
  longitudeLabel,
  longitudeUnit,
  noLocationText,
  notFoundTitle,
  sendDigestLabel,
  settingsTitle,
  stillsKeptHint,
  stillsKeptLabel,
  stillsKeptUnit,
  summaryText,
  useLocationLabel,
} from "#text/yardScreen.ts";
import type { YardView } from "../../server/contract/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { DeleteYard } from "../components/deleteYard.tsx";
import { DiseaseNotice, DiseaseNoticeSection } from "../components/diseaseNotice.tsx";
import { Choice, Field, FormError, NumberField, readNumber, readText, useFormSubmit } from "../components/field.tsx";
import { noteSaved } from "../components/savedNote.tsx";
import { Screen } from "../components/screen.tsx";
import { YardLinks } from "../components/yardLinks.tsx";
import { ZoneField } from "../components/zoneField.tsx";
import { ZoneNotice } from "../components/zoneNotice.tsx";
import { changeYardBack } from "../state/changeBack.ts";
import { refreshHome, yards } from "../state/home.ts";
import { earlierValues } from "../state/saved.ts";
import { backToFeeders, notFoundScreen } from "./notFound.tsx";

/** Where the yard is and when its digest comes. */
export function YardScreen(props: { readonly id: string }) {
  const yard = yards.value.find((each) => each.id === props.id);
  if (yard === undefined) return notFoundScreen(notFoundTitle, yardNotFoundText);
  return (
    <Screen title={yard.name} practice={yard.practice} back={backToFeeders}>
      <YardLinks yard={yard} />
      {yard.role === "keeper" ? <YardForm yard={yard} /> : <YardSummary yard={yard} />}
      {yard.role === "keeper" ? <DiseaseNoticeSection yard={yard} /> : <DiseaseNotice yard={yard} />}
      {yard.role === "keeper" && (
        <p class="page-link">
          <a href="/yards/new">{addYardLabel}</a>
        </p>
      )}
      {yard.role === "keeper" && !yard.practice && <DeleteYard yard={yard} />}
    </Screen>
  );
}

/** What a helper sees: the same, without what the server would refuse. */
const YardSummary = ({ yard }: { readonly yard: YardView }) => (
  <p class="hint">
    {summaryText(yard.zone, yard.digestTime)} {onlyKeepersText(yard.name)}
  </p>
);

function YardForm({ yard }: { readonly yard: YardView }) {
  const { route } = useLocation();
  const { sending, problems, formError, form, send } = useFormSubmit();
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const change = readYardFields(new FormData(event.currentTarget as HTMLFormElement));
    // A zone that can't be used can't be saved again.
    const before = yard.unusableZone === null ? earlierValues(change, yard) : null;
    if ((await send(() => withoutContent(laterApi.changeYard(yard.id, change)))) === null) return;
    await refreshHome();
    noteSaved(savedText, before === null ? null : () => changeYardBack(yard.id, before));
    route("/");
  };
  return (
    <section aria-labelledby="yard-title">
      <h2 id="yard-title">{settingsTitle}</h2>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={formError} />
        <Field
          label={nameLabel}
          problem={problems.name}
          input={{ name: "name", required: true, maxLength: 60, autocomplete: "off", defaultValue: yard.name }}
        />
        <LocationFields yard={yard} problems={problems} form={form} />
        <DigestFields yard={yard} problems={problems} />
        <NumberField
          {...{ name: "stillsKeptDays", label: stillsKeptLabel, hint: stillsKeptHint, unit: stillsKeptUnit }}
          {...{ min: 7, max: 365, whole: true }}
          problem={problems.stillsKeptDays}
          value={yard.stillsKeptDays ?? 30}
        />
        <div class="actions">
          <button type="submit" class="main" disabled={sending}>
            {saveLabel}
          </button>
        </div>
      </form>
    </section>
  );
}

function readYardFields(data: FormData): Parameters<typeof laterApi.changeYard>[1] {
  const latitudeDegrees = readNumber(data, "place.latitudeDegrees");
  const longitudeDegrees = readNumber(data, "place.longitudeDegrees");
  const hasPlace = latitudeDegrees !== undefined || longitudeDegrees !== undefined; // the server names the missing half
  return {
    name: readText(data, "name"),
    zone: readText(data, "zone"),
    place: hasPlace ? ({ latitudeDegrees, longitudeDegrees } as NonNullable<YardView["place"]>) : null,
    digestTime: readText(data, "digestTime"),
    digestWanted: data.has("digestWanted"),
    stillsKeptDays: readNumber(data, "stillsKeptDays") as number,
  };
}

interface YardFieldsProps {
  readonly yard: YardView;
  readonly problems: Readonly<Record<string, string>>;
}

function LocationFields(props: YardFieldsProps & { readonly form: RefObject<HTMLFormElement | null> }) {
  const { yard, problems, form } = props;
  const [status, setStatus] = useState("");
  return (
    <fieldset>
      <legend>{locationTitle}</legend>
      <p class="hint">{locationHint}</p>
      <Field
        label={latitudeLabel}
        unit={latitudeUnit}
        problem={problems["place.latitudeDegrees"]}
        input={degreesInput("place.latitudeDegrees", yard.place?.latitudeDegrees)}
      />
      <Field
        label={longitudeLabel}
        unit={longitudeUnit}
        problem={problems["place.longitudeDegrees"]}
        input={degreesInput("place.longitudeDegrees", yard.place?.longitudeDegrees)}
      />
      {isSecureContext && "geolocation" in navigator && (
        <button type="button" onClick={() => fillInLocation(form.current, setStatus)}>
          {useLocationLabel}
        </button>
      )}
      <p class="hint" role="status">
        {status}
      </p>
      <ZoneNotice yard={yard} />
      <ZoneField zone={yard.zone} isUsable={yard.unusableZone === null} problem={problems.zone} />
    </fieldset>
  );
}

/** For text, since a number pad has no minus on some phones. */
const degreesInput = (name: string, value: number | undefined) =>
  ({ name, inputMode: "text", autocomplete: "off", defaultValue: value ?? "" }) as const;

function fillInLocation(form: HTMLFormElement | null, setStatus: (text: string) => void): void {
  const fillIn = (name: string, degrees: number) => {
    const input = form?.elements.namedItem(name);
    // A tenth of a degree (11 km) moves twilight by half a minute: exact enough, and the phone gives away no more.
    if (input instanceof HTMLInputElement) input.value = degrees.toFixed(1);
  };
  setStatus(locatingText);
  navigator.geolocation.getCurrentPosition(
    ({ coords }) => {
      fillIn("place.latitudeDegrees", coords.latitude);
      fillIn("place.longitudeDegrees", coords.longitude);
      setStatus(locatedText);
    },
    () => setStatus(noLocationText),
  );
}

const DigestFields = ({ yard, problems }: YardFieldsProps) => (
  <fieldset>
    <legend>{digestTitle}</legend>
    <Choice
      type="checkbox"
      label={sendDigestLabel}
      input={{ name: "digestWanted", defaultChecked: yard.digestWanted }}
    />
    <Field
      label={digestTimeLabel}
      problem={problems.digestTime}
      input={{ name: "digestTime", type: "time", required: true, defaultValue: yard.digestTime }}
    />
  </fieldset>
);
