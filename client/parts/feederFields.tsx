import type { FeederView } from "../../server/contract/api.ts";
import { Choice, Field, NumberField, numberIn, textIn } from "./field.tsx";

type Settings = FeederView["settings"];
type Problems = Readonly<Record<string, string>>;

/** The three that every feeder needs. */
export function FirstFields(props: { readonly settings: Partial<Settings>; readonly problems: Problems }) {
  const { settings, problems } = props;
  return (
    <>
      <Field
        label="Its name"
        hint="Short: it stands in every message."
        problem={problems.name}
        input={{ name: "name", required: true, maxLength: 60, autocomplete: "off", defaultValue: settings.name ?? "" }}
      />
      <Field
        label="Food"
        problem={problems.food}
        input={{
          name: "food",
          maxLength: 60,
          autocomplete: "off",
          defaultValue: settings.food ?? "",
          placeholder: "unsalted peanuts, broken",
        }}
      />
      <NumberField
        name="hopperCapacityGrams"
        label="A full hopper holds"
        hint="Weigh it once, filled with the food you use."
        unit="g"
        problem={problems.hopperCapacityGrams}
        min={50}
        max={50_000}
        value={settings.hopperCapacityGrams}
      />
    </>
  );
}

const sensors: readonly { readonly key: keyof Settings["sensors"]; readonly label: string; readonly hint: string }[] = [
  { key: "button", label: "A button to press", hint: "Pecked or stepped on." },
  { key: "detector", label: "A metal detector at the slot", hint: "Tells a cap from a twig." },
  { key: "chute", label: "A sensor in the chute", hint: "Sees food fall." },
  { key: "perch", label: "A perch that feels a bird", hint: "" },
  { key: "scale", label: "A scale under the hopper", hint: "A load cell." },
];

const batteries: readonly { readonly key: Settings["battery"]; readonly label: string }[] = [
  { key: "none", label: "None: it runs from a supply" },
  { key: "leadAcid", label: "Lead-acid" },
  { key: "lithiumIronPhosphate", label: "Lithium iron phosphate" },
  { key: "lithiumIon", label: "Lithium-ion" },
];

/** What can wait, each with a sensible beginning. */
export function FurtherFields(props: { readonly settings: Partial<Settings>; readonly problems: Problems }) {
  const { settings, problems } = props;
  return (
    <>
      <NumberField
        name="portionGrams"
        label="One portion weighs"
        hint="Ten portions on a kitchen scale, divided by ten. It is learnt more closely with time."
        unit="g"
        problem={problems.portionGrams}
        min={0.1}
        max={100}
        value={settings.portionGrams}
      />
      <fieldset>
        <legend>What did you build in?</legend>
        <p class="hint">What isn't there can't fall silent, so tick only what is fitted and works.</p>
        {sensors.map(({ key, label, hint }) => (
          <Choice
            key={key}
            type="checkbox"
            label={label}
            {...(hint === "" ? {} : { hint })}
            input={{ name: `sensors.${key}`, defaultChecked: settings.sensors?.[key] ?? false }}
          />
        ))}
      </fieldset>
      <fieldset>
        <legend>Battery</legend>
        {batteries.map(({ key, label }) => (
          <Choice
            key={key}
            type="radio"
            label={label}
            input={{ name: "battery", value: key, defaultChecked: (settings.battery ?? "none") === key }}
          />
        ))}
      </fieldset>
      <NumberField
        name="reportEverySeconds"
        label="It reports every"
        unit="seconds"
        problem={problems.reportEverySeconds}
        min={5}
        max={3_600}
        whole
        value={settings.reportEverySeconds}
      />
      <NumberField
        name="warnAheadDays"
        label="Warn me when the food may run out within"
        unit="days"
        problem={problems.warnAheadDays}
        min={0.25}
        max={30}
        value={settings.warnAheadDays}
      />
    </>
  );
}

/** What the form says; fields left empty are left to the server. */
export function readFeederFields(form: HTMLFormElement) {
  const data = new FormData(form);
  const food = textIn(data, "food");
  const numbers = ["hopperCapacityGrams", "portionGrams", "reportEverySeconds", "warnAheadDays"] as const;
  const battery = data.get("battery");
  const given = numbers.flatMap((name) => {
    const value = numberIn(data, name);
    return value === undefined ? [] : [[name, value] as const];
  });
  return {
    name: textIn(data, "name"),
    ...(food === "" ? {} : { food }),
    ...(Object.fromEntries(given) as Partial<Record<(typeof numbers)[number], number>>),
    sensors: {
      button: data.has("sensors.button"),
      detector: data.has("sensors.detector"),
      chute: data.has("sensors.chute"),
      perch: data.has("sensors.perch"),
      scale: data.has("sensors.scale"),
    },
    ...(battery === null ? {} : { battery: battery as Settings["battery"] }),
  };
}
