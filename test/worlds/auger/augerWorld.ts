import type { World } from "../world.ts";
import { Yard } from "./yard.ts";

/** A feeder with a motor-driven screw, in a continental yard at 45 degrees north. */
export const augerWorld: World = {
  name: "auger",
  tell: (story, phone) => new Yard(story, phone).moments(),
};
