import type { Story } from "../world.ts";
import type { Account } from "./account.ts";
import type { Agenda } from "./agenda.ts";
import type { Belt } from "./belt.ts";
import type { Board } from "./board.ts";
import type { Cell } from "./cell.ts";
import type { Chance } from "./chance.ts";
import type { Counter } from "./counter.ts";
import type { Drive } from "./drive.ts";
import type { Place } from "./place.ts";
import type { Planted } from "./planted.ts";
import type { Silo } from "./silo.ts";
import type { Supply } from "./supply.ts";
import type { Thermometers } from "./thermometers.ts";
import type { Weather } from "./weather.ts";

/** What one feeder is made of, with the place where it stands. */
export interface Parts {
  readonly story: Story;
  readonly begin: number;
  readonly place: Place;
  readonly agenda: Agenda;
  readonly weather: Weather;
  readonly planted: Planted;
  readonly silo: Silo;
  readonly belt: Belt;
  readonly drive: Drive;
  readonly counter: Counter;
  readonly cell: Cell;
  readonly supply: Supply;
  readonly thermometers: Thermometers;
  readonly board: Board;
  readonly account: Account;
  readonly hands: { grams: number; isHopperOff: boolean };
  readonly chance: (name: string) => Chance;
}
