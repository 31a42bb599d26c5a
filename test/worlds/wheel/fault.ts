import type { WorldFault } from "../world.ts";
import { day } from "./time.ts";

/** The fault of the story: nothing before its time, and for ever after. Every part looks here whether it is the broken one. */
export class PlantedFault {
  active: WorldFault | null = null;
  since: number | null = null;

  begin(kind: WorldFault, now: number): void {
    this.active = kind;
    this.since = now;
  }

  /** How dirty the chute is: 0 clean, 1 after a week, when it sees nothing. */
  chuteDirt(now: number): number {
    if (this.active !== "chuteDirty" || this.since === null) return 0;
    return Math.min(1, (now - this.since) / (7 * day));
  }
}
