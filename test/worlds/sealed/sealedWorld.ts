import type { World } from "../world.ts";
import { Garden } from "./garden.ts";
import { dayMs } from "./sky.ts";

/**
 * A home-built feeder of one of six dispensers in a garden at one of four places. `garden.ts` puts its parts together; each part is
 * drawn in its own file, over the width that its comment states.
 */
export const sealedWorld: World = {
  name: "sealed",
  *tell(story, phone) {
    const garden = new Garden(story, phone);
    const end = garden.begin + story.days * dayMs;
    yield* garden.moments.splice(0);
    while (garden.agenda.step(end)) {
      if (garden.moments.length > 0) yield* garden.moments.splice(0);
    }
  },
};
