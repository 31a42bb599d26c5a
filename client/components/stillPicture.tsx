import type { StillPictureView } from "../../server/contract/trainingView.ts";
import { stillUrl } from "../api/stillApi.ts";
import { smallSize } from "./smallSize.ts";

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
