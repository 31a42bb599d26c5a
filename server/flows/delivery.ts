import type { Ports } from "../ports.ts";
import { advanceDueCalls } from "./calls.ts";
import { type Drained, drainOutbox, type OutboxLimits } from "./outbox.ts";

/** Delivers what is due; an alarm that is known to have reached nobody by that goes on to the next way now, not with a tick. */
export const deliverDue = (ports: Ports, limits: OutboxLimits): Promise<Drained> =>
  drainOutbox(ports, { ...limits, onLost: () => advanceDueCalls(ports) });
