import type { FeederRow, Ports } from "../ports.ts";
import { planToSend } from "./pure/sentPlan.ts";

/** At once where it has a socket open; it goes with its next answer in any case, until the feeder says that it follows it. */
export function sendPlan({ feederLink }: Pick<Ports, "feederLink">, { id, state }: FeederRow): void {
  const plan = planToSend(state);
  if (plan !== undefined) feederLink.sendPlan(id, plan);
}
