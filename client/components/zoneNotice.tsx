import type { YardView } from "../../server/contract/api.ts";

/** The stored zone can't be used, so the times here are not the yard's own. */
export function ZoneNotice({ yard }: { readonly yard: YardView }) {
  if (yard.unusableZone === null) return null;
  return (
    <p class="notice worry">
      The time zone of {yard.name} is stored as "{yard.unusableZone}", which can't be used. Until another is chosen, its
      times, its digest and its quiet hours go by UTC.{" "}
      {yard.role === "keeper" && <a href={`/yards/${encodeURIComponent(yard.id)}`}>Choose the time zone</a>}
    </p>
  );
}
