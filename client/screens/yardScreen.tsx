import { useState } from "preact/hooks";
import { useLocation } from "preact-iso";
import type { YardView } from "../../server/contract/api.ts";
import { laterApi, withoutContent } from "../api/laterApi.ts";
import { DeleteYard } from "../components/deleteYard.tsx";
import { Choice, Field, FormError, readNumber, readText, useFormSubmit } from "../components/field.tsx";
import { Screen } from "../components/screen.tsx";
import { YardLinks } from "../components/yardLinks.tsx";
import { ZoneField } from "../components/zoneField.tsx";
import { ZoneNotice } from "../components/zoneNotice.tsx";
import { refreshHome, yards } from "../state/home.ts";

/** Where the yard is and when its digest comes. */
export function YardScreen(props: { readonly id: string }) {
  const yard = yards.value.find((each) => each.id === props.id);
  if (yard === undefined) {
    return (
      <Screen title="Yard" back={{ href: "/", name: "Feeders" }}>
        <p class="empty">This yard isn't known on this phone.</p>
      </Screen>
    );
  }
  return (
    <Screen title={yard.name} practice={yard.practice} back={{ href: "/", name: "Feeders" }}>
      <YardLinks yard={yard} />
      {yard.role === "keeper" ? <YardForm yard={yard} /> : <YardSummary yard={yard} />}
      {yard.role === "keeper" && (
        <p class="elsewhere">
          <a href="/yards/new">Make another yard</a>
        </p>
      )}
      {yard.role === "keeper" && !yard.practice && <DeleteYard yard={yard} />}
    </Screen>
  );
}

/** What a helper sees of it: the same, without what would only be refused. */
const YardSummary = ({ yard }: { readonly yard: YardView }) => (
  <p class="hint">
    Its clock is that of {yard.zone}; the digest comes at {yard.digestTime}. Only keepers of {yard.name} change these.
  </p>
);

function YardForm({ yard }: { readonly yard: YardView }) {
  const { route } = useLocation();
  const { sending, problems, said, form, send } = useFormSubmit();
  const [positionSaid, setPositionSaid] = useState("");
  const submit = async (event: SubmitEvent) => {
    event.preventDefault();
    const data = new FormData(event.currentTarget as HTMLFormElement);
    const latitudeDegrees = readNumber(data, "place.latitudeDegrees");
    const longitudeDegrees = readNumber(data, "place.longitudeDegrees");
    const placed = latitudeDegrees !== undefined || longitudeDegrees !== undefined; // half a place is refused by its field
    const changed = await send(() => {
      const change = {
        name: readText(data, "name"),
        zone: readText(data, "zone"),
        place: placed ? ({ latitudeDegrees, longitudeDegrees } as NonNullable<YardView["place"]>) : null,
        digestTime: readText(data, "digestTime"),
        digestWanted: data.has("digestWanted"),
      };
      return withoutContent(laterApi.changeYard(yard.id, change));
    });
    if (changed === null) return;
    await refreshHome();
    route("/");
  };
  const whereAmI = () => {
    setPositionSaid("Asking the phone…");
    navigator.geolocation.getCurrentPosition(
      ({ coords }) => {
        const put = (name: string, degrees: number) => {
          const input = form.current?.elements.namedItem(name);
          // A tenth of a degree (11 km) moves twilight by half a minute: enough for the light, and no more is told.
          if (input instanceof HTMLInputElement) input.value = degrees.toFixed(1);
        };
        put("place.latitudeDegrees", coords.latitude);
        put("place.longitudeDegrees", coords.longitude);
        setPositionSaid("Filled in, rounded to about 10 km: that is enough for the light.");
      },
      () => setPositionSaid("The phone didn't tell. Type it in, or leave it empty."),
    );
  };
  const degrees = (value: number | undefined) => value ?? "";
  return (
    <section aria-labelledby="yard-title">
      <h2 id="yard-title">The yard</h2>
      <form ref={form} onSubmit={(event) => void submit(event)} noValidate>
        <FormError text={said} />
        <Field
          label="Name"
          problem={problems.name}
          input={{ name: "name", required: true, maxLength: 60, autocomplete: "off", defaultValue: yard.name }}
        />
        <fieldset>
          <legend>Where it is</legend>
          <p class="hint">
            For night, twilight and day. Rounded is enough; it stays on your server. South and west are written with a
            minus.
          </p>
          <Field
            label="Latitude"
            unit="° north"
            problem={problems["place.latitudeDegrees"]}
            input={{
              name: "place.latitudeDegrees",
              inputMode: "text", // a pad of digits has no minus on some phones
              autocomplete: "off",
              defaultValue: degrees(yard.place?.latitudeDegrees),
            }}
          />
          <Field
            label="Longitude"
            unit="° east"
            problem={problems["place.longitudeDegrees"]}
            input={{
              name: "place.longitudeDegrees",
              inputMode: "text",
              autocomplete: "off",
              defaultValue: degrees(yard.place?.longitudeDegrees),
            }}
          />
          {isSecureContext && "geolocation" in navigator && (
            <button type="button" onClick={whereAmI}>
              I'm in the yard now
            </button>
          )}
          <p class="hint" role="status">
            {positionSaid}
          </p>
          <ZoneNotice yard={yard} />
          <ZoneField zone={yard.zone} isUsable={yard.unusableZone === null} problem={problems.zone} />
        </fieldset>
        <fieldset>
          <legend>Daily digest</legend>
          <Choice
            type="checkbox"
            label="Send me one a day"
            input={{ name: "digestWanted", defaultChecked: yard.digestWanted }}
          />
          <Field
            label="At"
            problem={problems.digestTime}
            input={{ name: "digestTime", type: "time", required: true, defaultValue: yard.digestTime }}
          />
        </fieldset>
        <div class="answers">
          <button type="submit" class="main" disabled={sending}>
            Write it down
          </button>
        </div>
      </form>
    </section>
  );
}
