import type { WorldFault } from "../world.ts";

/** The one fault that the story plants, which no keeper mends. */
export class PlantedFault {
  private readonly kind: WorldFault | null;
  private readonly from: number;

  constructor(kind: WorldFault | null, from: number) {
    this.kind = kind;
    this.from = from;
  }

  is = (kind: WorldFault, at: number): boolean => this.kind === kind && at >= this.from;
  isPlanned = (kind: WorldFault): boolean => this.kind === kind;
  since = (at: number): number | null => (this.kind !== null && at >= this.from ? this.from : null);
  begin = (): number => this.from;
}
