import type { ComponentChildren } from "preact";
import * as text from "#text/feederFields.ts";
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
export const RequiredFields = ({ settings, problems, food }: FieldsProps) => (
  <>
    <Field
      label={text.nameLabel}
      hint={text.nameHint}
      problem={problems.name}
      input={{ name: "name", required: true, maxLength: 60, autocomplete: "off", defaultValue: settings.name ?? "" }}
    />
    <FoodFields settings={settings} problems={problems} food={food} />
    <NumberField
      name="hopperCapacityGrams"
      label={text.capacityLabel}
      hint={text.capacityHint}
      unit={text.gramsUnit}
      problem={problems.hopperCapacityGrams}
      min={50}
      max={50_000}
      value={settings.hopperCapacityGrams}
    />
  </>
);

const sensors = ["button", "detector", "chute", "perch", "scale"] as const satisfies (keyof Settings["sensors"])[];
const batteries = ["none", "leadAcid", "lithiumIronPhosphate", "lithiumIon"] as const satisfies Settings["battery"][];
const placements = ["inGarden", "onBench", "putAway"] as const satisfies Placement[];
type Placement = NonNullable<Settings["placement"]>;

/** Where the feeder is now, which decides the alarms that are sent. */
export const DutyFields = ({ settings, problems }: Pick<FieldsProps, "settings" | "problems">) => (
  <FieldGroup legend={text.placementLegend} problem={problems.placement}>
    {placements.map((key) => (
      <Choice
        key={key}
        type="radio"
        {...text.placements[key]}
        input={{ name: "placement", value: key, defaultChecked: (settings.placement ?? "inGarden") === key }}
      />
    ))}
  </FieldGroup>
);

/** What can be entered later: each has a sensible default. */
export function OptionalFields(props: FieldsProps & { readonly learnt?: string; readonly spots?: ComponentChildren }) {
  const { settings, problems, food, learnt = "", spots } = props;
  return (
    <>
      <PortionFields settings={settings} problems={problems} food={food} learnt={learnt === "" ? null : learnt} />
      <FieldGroup legend={text.sensorsLegend} hint={text.sensorsHint} problem={problems.sensors}>
        {sensors.map((key) => (
          <Choice
            key={key}
            type="checkbox"
            {...text.sensors[key]}
            input={{ name: `sensors.${key}`, defaultChecked: settings.sensors?.[key] ?? false }}
          />
        ))}
        {spots}
      </FieldGroup>
      <FieldGroup
        legend={text.batteryLegend}
        hint={settings.battery === undefined ? text.batteryMissingHint : text.batteryHint}
        problem={problems.battery}
      >
        {batteries.map((key) => (
          <Choice
            key={key}
            type="radio"
            {...text.batteries[key]}
            input={{ name: "battery", value: key, defaultChecked: settings.battery === key }}
          />
        ))}
      </FieldGroup>
      <AlarmFields settings={settings} problems={problems} />
    </>
  );
}

const AlarmFields = ({ settings, problems }: Pick<FieldsProps, "settings" | "problems">) => (
  <FieldGroup legend={text.alarmsLegend}>
    <NumberField
      name="reportEverySeconds"
      label={text.intervalLabel}
      hint={text.intervalHint}
      unit={text.secondsUnit}
      problem={problems.reportEverySeconds}
      min={5}
      max={3_600}
      whole
      value={settings.reportEverySeconds}
    />
    <NumberField
      name="warnAheadDays"
      label={text.foodWarningLabel}
      hint={text.foodWarningHint}
      unit={text.daysUnit}
      problem={problems.warnAheadDays}
      min={0.25}
      max={30}
      value={settings.warnAheadDays}
    />
  </FieldGroup>
);

/** What was changed in the form. A default or assumed value that nobody changed was not entered by anybody. */
export function readFeederFields(form: HTMLFormElement, kindChanged: boolean) {
  const data = new FormData(form);
  const isEntered = (name: string) => findInputs(form, name).some(isChanged);
  const foodChanged = kindChanged || isEntered("food");
  const kind = foodChanged ? readText(data, "foodKind") : "";
  const food = foodChanged ? readText(data, "food") : "";
  const battery = isEntered("battery") ? data.get("battery") : null;
  const placement = isEntered("placement") ? data.get("placement") : null;
  return {
    ...(isEntered("name") ? { name: readText(data, "name") } : {}),
    ...(kind === "" ? {} : { foodKind: kind as NonNullable<Settings["foodKind"]> }),
    ...(food === "" ? {} : { food }),
    ...readNumbers(data, isEntered),
    ...(sensors.some((key) => isEntered(`sensors.${key}`)) ? { sensors: readSensors(data) } : {}),
    ...(battery === null ? {} : { battery: battery as Settings["battery"] }),
    ...(placement === null ? {} : { placement: placement as Placement }),
  };
}

const numberFields = [
  "hopperCapacityGrams",
  "grainsPerPortion",
  "tenPortionsGrams",
  "reportEverySeconds",
  "warnAheadDays",
] as const;

function readNumbers(data: FormData, isEntered: (name: string) => boolean) {
  const entered = numberFields.flatMap((name) => {
    const value = isEntered(name) ? readNumber(data, name) : undefined;
    return value === undefined ? [] : [[name, value] as const];
  });
  return Object.fromEntries(entered) as Partial<Record<(typeof numberFields)[number], number>>;
}

const readSensors = (data: FormData): Settings["sensors"] => ({
  button: data.has("sensors.button"),
  detector: data.has("sensors.detector"),
  chute: data.has("sensors.chute"),
  perch: data.has("sensors.perch"),
  scale: data.has("sensors.scale"),
});

const findInputs = (form: HTMLFormElement, name: string) =>
  [...form.elements].filter((each): each is HTMLInputElement => each instanceof HTMLInputElement && each.name === name);
const isChanged = (input: HTMLInputElement) =>
  input.type === "checkbox" || input.type === "radio"
    ? input.checked !== input.defaultChecked
    : input.value !== input.defaultValue;
