import * as text from "#text/stillsScreen.ts";
import type { StillPictureView } from "../../server/contract/trainingView.ts";
import { stillUrl } from "../api/stillApi.ts";
import { timeText } from "../text/clock.ts";
import { smallSize } from "./smallSize.ts";

/** A still by what it shows: its moment as the clocks in the yard show it. */
export const stillNameOf = (
  { at, kind }: { readonly at: string; readonly kind: string | null },
  feeder: string,
  zone: string,
): string => (kind === "deposit" ? text.depositName : text.stillName)(timeText(at, zone), feeder);

/** A still beside what it shows; it leads to the yard's page of pictures. */
export const StillPicture = (props: {
  readonly yard: string;
  readonly still: StillPictureView;
  readonly name: string;
}) => (
  <a class="still-picture" href={`/yards/${props.yard}/pictures`}>
    <img
      src={stillUrl(props.yard, props.still.id, "small")}
      {...smallSize(props.still)}
      loading="lazy"
      alt={props.name}
    />
  </a>
);
