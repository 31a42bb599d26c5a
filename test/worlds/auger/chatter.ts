import type { Agenda } from "./agenda.ts";
import type { Feeder } from "./feeder.ts";
import type { PlantedFault } from "./planted.ts";
import type { Random } from "./random.ts";
import { day } from "./time.ts";

/** A wet or broken button: bursts of contacts at any hour. The feeder can't know that no bird made them, and pays. */
export function chatter(random: Random, agenda: Agenda, feeder: Feeder, fault: PlantedFault): void {
  const { burstsPerDay, burstPresses } = fault.traits;
  const burst = (at: number): void => {
    let time = at;
    for (let left = 1 + Math.round(random.exponential(burstPresses)); left > 0; left -= 1) {
      agenda.add(Math.round(time), (now) => feeder.contact(now));
      time += random.between(25, 120) + (random.chance(0.3) ? random.exponential(2_500) : 0);
    }
    agenda.add(Math.round(time + random.exponential(day / burstsPerDay)), burst);
  };
  agenda.add(Math.round(fault.since + random.exponential(day / burstsPerDay)), burst);
}
