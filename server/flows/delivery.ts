import type { Ports } from "../ports.ts";
import { advanceDueEscalations } from "./escalations.ts";
import { type DrainResult, drainOutbox, type OutboxLimits } from "./outbox.ts";

/** Delivers what is due; an alarm that is known to have reached nobody by that goes on to the next way now, not with a tick. */
export const deliverDueNotifications = (ports: Ports, limits: OutboxLimits): Promise<DrainResult> =>
  drainOutbox(ports, { ...limits, onLost: () => advanceDueEscalations(ports) });
