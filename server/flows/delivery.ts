import type { Ports } from "../ports.ts";
import { depositStillPath } from "./depositStill.ts";
import { advanceDueEscalations } from "./escalations.ts";
import { type DrainResult, drainOutbox, type OutboxLimits } from "./outbox.ts";

/** Delivers what is due. An alarm that turns out to have reached nobody escalates at once, not only with the next tick. */
export const deliverDueNotifications = (ports: Ports, limits: OutboxLimits): Promise<DrainResult> =>
  drainOutbox(ports, {
    ...limits,
    onLost: () => advanceDueEscalations(ports),
    imageOf: (item) => depositStillPath(ports, item),
  });
