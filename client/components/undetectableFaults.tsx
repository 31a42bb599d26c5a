import { undetectableTitle } from "#text/undetectableFaults.ts";
import type { FeederView } from "../../server/contract/api.ts";

/** What can't be known with the installed sensors, so that no alarm is not taken for "all is well". */
export function UndetectableFaults(props: { readonly feeder: FeederView; readonly open?: boolean }) {
  const { name, blindSpots } = props.feeder;
  if (blindSpots.length === 0) return null;
  return (
    <details class="undetectable" open={props.open ?? false}>
      <summary>{undetectableTitle(name)}</summary>
      <ul>
        {blindSpots.map((each) => (
          <li key={each}>{each}</li>
        ))}
      </ul>
    </details>
  );
}
