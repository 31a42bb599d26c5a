import type { FeederView } from "../../server/contract/api.ts";

/** What can't be known with what is fitted, so that nobody takes silence for "all is well". */
export function UndetectableFaults(props: { readonly feeder: FeederView; readonly open?: boolean }) {
  const { name, blindSpots } = props.feeder;
  if (blindSpots.length === 0) return null;
  return (
    <details class="blind-spots" open={props.open ?? false}>
      <summary>What can't be told at {name}</summary>
      <ul>
        {blindSpots.map((words) => (
          <li key={words}>{words}</li>
        ))}
      </ul>
    </details>
  );
}
