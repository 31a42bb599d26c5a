import { browserSupport, guessLabel, notificationPermission, pushAbility } from "../state/ownPhone.ts";
import { Field } from "./field.tsx";

/** Lets the phone in the keeper's hand be woken, or says what stands in the way. */
export function SwitchOnPhone(props: {
  readonly busy: boolean;
  readonly label: string | null; // by which it was known before
  readonly on: (event: SubmitEvent) => void;
}) {
  const browser = browserSupport();
  const ability = pushAbility(
    notificationPermission.value === "none" ? browser : { ...browser, permission: notificationPermission.value },
  );
  switch (ability) {
    case "insecure":
      return (
        <p class="notice">
          <strong>This page came over plain HTTP.</strong> Browsers wake a phone only for pages that come over HTTPS.
          Put the server behind HTTPS (its guide says how) and open it by that address; everything else works here
          meanwhile.
        </p>
      );
    case "homeScreenFirst":
      return (
        <p class="notice">
          <strong>On this phone, put Pieward on the home screen first:</strong> Share, then “Add to Home Screen”. Open
          it from there and come back to this page.
        </p>
      );
    case "denied":
      return (
        <p class="notice">
          <strong>Notices from this page are blocked.</strong> Allow them in the browser's settings for this page, then
          come back.
        </p>
      );
    case "unsupported":
      return <p class="notice">This browser can't be woken by a push. Try another browser or another phone.</p>;
    case "ready":
      return (
        <form onSubmit={props.on} noValidate>
          <h2>Wake this phone</h2>
          <Field
            label="Call it"
            input={{
              name: "label",
              maxLength: 60,
              autocomplete: "off",
              defaultValue: props.label ?? guessLabel(navigator.userAgent),
            }}
          />
          <div class="answers">
            <button type="submit" class="main" disabled={props.busy}>
              Switch on
            </button>
          </div>
        </form>
      );
  }
}
