import type { Story } from "../world.ts";
import type { Agenda } from "./agenda.ts";
import type { Balance } from "./balance.ts";
import type { ChuteBeam } from "./beam.ts";
import type { Board, Radio } from "./board.ts";
import type { Drive } from "./drive.ts";
import type { Flock } from "./flock.ts";
import type { Hopper } from "./hopper.ts";
import type { Malfunction } from "./malfunction.ts";
import type { Mechanism } from "./mechanism.ts";
import type { Place } from "./place.ts";
import type { Power } from "./power.ts";
import type { Weather } from "./sky.ts";
import type { Stream } from "./stream.ts";
import type { Tally } from "./tally.ts";
import type { Thermometers } from "./thermometers.ts";

/** All parts of one feeder and its yard. */
export interface Parts {
  readonly story: Story;
  readonly begin: number;
  readonly agenda: Agenda;
  readonly place: Place;
  readonly weather: Weather;
  readonly hopper: Hopper;
  readonly mechanism: Mechanism;
  readonly drive: Drive;
  readonly beam: ChuteBeam;
  readonly balance: Balance;
  readonly thermometers: Thermometers;
  readonly power: Power;
  readonly board: Board;
  readonly radio: Radio;
  readonly flock: Flock;
  readonly tally: Tally;
  readonly malfunction: Malfunction;
  /** A stream of chance for the part of this name. */
  readonly stream: (name: string) => Stream;
}
