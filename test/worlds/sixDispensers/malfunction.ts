import type { WorldFault } from "../world.ts";

/** The planted fault. Each part asks it whether its own fault has begun; none looks at the others'. */
export class Malfunction {
  kind: WorldFault | null = null;
  since: number | null = null;

  begin(kind: WorldFault, at: number): void {
    this.kind = kind;
    this.since = at;
  }
}
