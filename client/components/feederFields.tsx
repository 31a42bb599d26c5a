import type { ComponentChildren } from "preact";
import type { FeederView } from "../../server/contract/api.ts";
import { Choice, Field, FieldGroup, NumberField, readNumber, readText } from "./field.tsx";
import { FoodFields, PortionFields, type useFoodInput } from "./foodFields.tsx";

type Settings = FeederView["settings"];

interface FieldsProps {
  readonly settings: Partial<Settings>;
  readonly problems: Readonly<Record<string, string>>;
  readonly food: ReturnType<typeof useFoodInput>;
}

/** The three that every feeder needs. */
export function RequiredFields({ settings, problems, food }: FieldsProps) {
  return (
    <>
      <Field
        label="Its name"
        hint="Short: it stands in every message."
        problem={problems.name}
        input={{ name: "name", required: true, maxLength: 60, autocomplete: "off", defaultValue: settings.name ?? "" }}
      />
      <FoodFields settings={settings} problems={problems} food={food} />
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

const sensorChoices: readonly {
  readonly key: keyof Settings["sensors"];
  readonly label: string;
  readonly hint: string;
}[] = [
  {
    key: "button",
    label: "A button to press",
    hint: "Pecked or stepped on. Without it Pieward sees no bird ask.",
  },
  {
    key: "detector",
    label: "A metal detector at the slot",
    hint: "Tells a cap from a twig. Without it no deposit is noticed, nor one that went unpaid.",
  },
  {
    key: "chute",
    label: "A sensor in the chute",
    hint: "Sees food fall. Without it a jam shows only on a scale, and later.",
  },
  {
    key: "perch",
    label: "A perch that feels a bird",
    hint: "Without it, a bird that comes and does nothing goes unseen.",
  },
  {
    key: "scale",
    label: "A scale under the hopper",
    hint: "A load cell. Without it, food that is left is counted from portions and refills; a blind chute sensor looks like a jam.",
  },
];

const batteryChoices: readonly { readonly key: Settings["battery"]; readonly label: string; readonly hint: string }[] =
  [
    { key: "none", label: "None: it runs from a supply", hint: "" },
    {
      key: "leadAcid",
      label: "Lead-acid",
      hint: "With acid, gel or glass mat. A flat one can freeze: you are warned before.",
    },
    {
      key: "lithiumIronPhosphate",
      label: "Lithium iron phosphate",
      hint: "LiFePO₄ stands on it. You are warned if it is charged below 0 °C.",
    },
    {
      key: "lithiumIon",
      label: "Lithium-ion",
      hint: "Most power banks and round cells. You are warned if it is charged below 0 °C.",
    },
  ];

const dutyChoices: readonly { readonly key: Placement; readonly label: string; readonly hint: string }[] = [
  { key: "inGarden", label: "In the garden", hint: "It feeds birds: you are told of everything." },
  {
    key: "onBench",
    label: "On the bench",
    hint: "You build on it or try it out. Nobody is told of anything, unless a pause doesn't arrive; all is still written down.",
  },
  {
    key: "putAway",
    label: "Put away for the season",
    hint: "In a shed, say. You are told only of what could harm its battery, and of a pause that doesn't arrive.",
  },
];
type Placement = NonNullable<Settings["placement"]>;

/** Where it is just now, and so of what anybody is told. */
export const DutyFields = ({ settings, problems }: Pick<FieldsProps, "settings" | "problems">) => (
  <FieldGroup legend="Where is it just now?" problem={problems.placement}>
    {dutyChoices.map(({ key, label, hint }) => (
      <Choice
        key={key}
        type="radio"
        label={label}
        hint={hint}
        input={{ name: "placement", value: key, defaultChecked: (settings.placement ?? "inGarden") === key }}
      />
    ))}
  </FieldGroup>
);

/** What can wait, each with a sensible beginning. */
export function OptionalFields(props: FieldsProps & { readonly learnt?: string; readonly spots?: ComponentChildren }) {
  const { settings, problems, food, learnt = "", spots } = props;
  return (
    <>
      <PortionFields settings={settings} problems={problems} food={food} learnt={learnt === "" ? null : learnt} />
      <FieldGroup
        legend="What did you build in?"
        hint="Tick what is fitted and works: what isn't there can't fall silent. Thermometers, battery and motor current need no tick: what the feeder reports is used."
        problem={problems.sensors}
      >
        {sensorChoices.map(({ key, label, hint }) => (
          <Choice
            key={key}
            type="checkbox"
            label={label}
            hint={hint}
            input={{ name: `sensors.${key}`, defaultChecked: settings.sensors?.[key] ?? false }}
          />
        ))}
        {spots}
      </FieldGroup>
      <FieldGroup
        legend="Battery"
        hint={`Each kind suffers from cold in its own way.${settings.battery === undefined ? " Nobody has said yet, so nothing is judged of one." : ""}`}
        problem={problems.battery}
      >
        {batteryChoices.map(({ key, label, hint }) => (
          <Choice
            key={key}
            type="radio"
            label={label}
            {...(hint === "" ? {} : { hint })}
            input={{ name: "battery", value: key, defaultChecked: settings.battery === key }}
          />
        ))}
      </FieldGroup>
      <FieldGroup legend="When to tell you">
        <NumberField
          name="reportEverySeconds"
          label="It reports every"
          hint="As its program is set, 60 for most. It is called silent when it stays away far longer than it usually does."
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
          hint="The daily digest asks for food a day and a half before that, so a push comes only where nobody refilled. Say more if you are often away."
          unit="days"
          problem={problems.warnAheadDays}
          min={0.25}
          max={30}
          value={settings.warnAheadDays}
        />
      </FieldGroup>
    </>
  );
}

/**
 * What the keeper says by this form: only what was changed in it. What merely stands there, as it was offered or assumed, is
 * nobody's word.
 */
export function readFeederFields(form: HTMLFormElement, kindChanged: boolean) {
  const data = new FormData(form);
  const changed = (name: string) => findInputs(form, name).some(isChanged);
  const foodChanged = kindChanged || changed("food");
  const kind = foodChanged ? readText(data, "foodKind") : "";
  const food = foodChanged ? readText(data, "food") : "";
  const numbers = [
    "hopperCapacityGrams",
    "grainsPerPortion",
    "tenPortionsGrams",
    "reportEverySeconds",
    "warnAheadDays",
  ] as const;
  const battery = changed("battery") ? data.get("battery") : null;
  const placement = changed("placement") ? data.get("placement") : null;
  const given = numbers.flatMap((name) => {
    const value = changed(name) ? readNumber(data, name) : undefined;
    return value === undefined ? [] : [[name, value] as const];
  });
  const fitted = sensorChoices.some(({ key }) => changed(`sensors.${key}`));
  return {
    ...(changed("name") ? { name: readText(data, "name") } : {}),
    ...(kind === "" ? {} : { foodKind: kind as NonNullable<Settings["foodKind"]> }),
    ...(food === "" ? {} : { food }),
    ...(Object.fromEntries(given) as Partial<Record<(typeof numbers)[number], number>>),
    ...(fitted
      ? {
          sensors: {
            button: data.has("sensors.button"),
            detector: data.has("sensors.detector"),
            chute: data.has("sensors.chute"),
            perch: data.has("sensors.perch"),
            scale: data.has("sensors.scale"),
          },
        }
      : {}),
    ...(battery === null ? {} : { battery: battery as Settings["battery"] }),
    ...(placement === null ? {} : { placement: placement as Placement }),
  };
}

const findInputs = (form: HTMLFormElement, name: string) =>
  [...form.elements].filter((each): each is HTMLInputElement => each instanceof HTMLInputElement && each.name === name);
const isChanged = (input: HTMLInputElement) =>
  input.type === "checkbox" || input.type === "radio"
    ? input.checked !== input.defaultChecked
    : input.value !== input.defaultValue;
