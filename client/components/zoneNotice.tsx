import { chooseZoneLabel, invalidZoneText } from "#text/zoneNotice.ts";
import type { YardView } from "../../server/contract/api.ts";

/** The stored time zone can't be used, so the times here are not the yard's own. */
export function ZoneNotice({ yard }: { readonly yard: YardView }) {
  if (yard.unusableZone === null) return null;
  return (
    <p class="notice warning">
      {invalidZoneText(yard.name, yard.unusableZone)}{" "}
      {yard.role === "keeper" && <a href={`/yards/${encodeURIComponent(yard.id)}`}>{chooseZoneLabel}</a>}
    </p>
  );
}
