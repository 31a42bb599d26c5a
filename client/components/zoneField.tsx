import { chooseOption } from "#text/forms.ts";
import * as text from "#text/zoneField.ts";
import { SelectField } from "./field.tsx";

/** A list, since a typed name may mean several zones: IST is the time of India, Ireland and Israel. */
export function ZoneField(props: {
  readonly zone: string; // as stored
  readonly isUsable: boolean;
  readonly problem: string | undefined;
}) {
  const { zone, isUsable, problem } = props;
  const listed = listTimeZones();
  const zones = isUsable && !listed.includes(zone) ? [zone, ...listed] : listed;
  const choices = zones.map((each) => ({ value: each, label: each }));
  const noChoice = { value: "", label: chooseOption };
  return (
    <SelectField
      label={text.label}
      hint={text.hint}
      problem={problem}
      choices={isUsable ? choices : [noChoice, ...choices]}
      select={{ name: "zone", required: true, value: isUsable ? zone : "" }}
    />
  );
}

/** What the browser's own `Intl` can use, with UTC, which it leaves out (ECMA-402, `Intl.supportedValuesOf`). */
export const listTimeZones = (): readonly string[] =>
  typeof Intl.supportedValuesOf === "function"
    ? [...new Set([...Intl.supportedValuesOf("timeZone"), "UTC"])].sort()
    : [...new Set([Intl.DateTimeFormat().resolvedOptions().timeZone, "UTC"])];
