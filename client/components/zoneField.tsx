import { SelectField } from "./field.tsx";

/** A list, since what is typed may name several zones: IST is the time of India, Ireland and Israel. */
export function ZoneField(props: {
  readonly zone: string; // what is stored
  readonly isUsable: boolean;
  readonly problem: string | undefined;
}) {
  const { zone, isUsable, problem } = props;
  const listed = listTimeZones();
  const zones = isUsable && !listed.includes(zone) ? [zone, ...listed] : listed;
  const choices = zones.map((each) => ({ value: each, words: each }));
  const unanswered = { value: "", words: "Choose…" };
  return (
    <SelectField
      label="Time zone"
      hint="The nearest large town in the same country."
      problem={problem}
      choices={isUsable ? choices : [unanswered, ...choices]}
      select={{ name: "zone", required: true, value: isUsable ? zone : "" }}
    />
  );
}

/** What the browser's own `Intl` can use, with UTC, which it leaves out (ECMA-402, `Intl.supportedValuesOf`). */
export const listTimeZones = (): readonly string[] =>
  typeof Intl.supportedValuesOf === "function"
    ? [...new Set([...Intl.supportedValuesOf("timeZone"), "UTC"])].sort()
    : [...new Set([Intl.DateTimeFormat().resolvedOptions().timeZone, "UTC"])];
