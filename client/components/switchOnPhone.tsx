import * as text from "#text/switchOnPhone.ts";
import { browserSupport, guessLabel, notificationPermission, pushAbility } from "../state/ownPhone.ts";
import { Field } from "./field.tsx";

/** Turns notifications on for this phone, or shows why that is not possible. */
export function SwitchOnPhone(props: {
  readonly busy: boolean;
  readonly label: string | null; // its earlier name
  readonly on: (event: SubmitEvent) => void;
}) {
  const browser = browserSupport();
  const ability = pushAbility(
    notificationPermission.value === "none" ? browser : { ...browser, permission: notificationPermission.value },
  );
  switch (ability) {
    case "insecure":
      return <Obstacle title={text.insecureTitle} text={text.insecureText} />;
    case "homeScreenFirst":
      return <Obstacle title={text.homeScreenTitle} text={text.homeScreenText} />;
    case "denied":
      return <Obstacle title={text.blockedTitle} text={text.blockedText} />;
    case "unsupported":
      return <p class="notice">{text.unsupportedText}</p>;
    case "ready":
      return (
        <form onSubmit={props.on} noValidate>
          <h2>{text.formTitle}</h2>
          <Field
            label={text.nameLabel}
            input={{
              name: "label",
              maxLength: 60,
              autocomplete: "off",
              defaultValue: props.label ?? guessLabel(navigator.userAgent),
            }}
          />
          <div class="actions">
            <button type="submit" class="main" disabled={props.busy}>
              {text.turnOnLabel}
            </button>
          </div>
        </form>
      );
  }
}

const Obstacle = (props: { readonly title: string; readonly text: string }) => (
  <p class="notice">
    <strong>{props.title}</strong> {props.text}
  </p>
);
