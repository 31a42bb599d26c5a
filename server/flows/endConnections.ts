import type { Ports } from "../ports.ts";

/** The feeder was removed, or its key isn't valid any more: its socket is closed, and no broker keeps anything for it. */
export function endConnections(
  { feederLink, retainedMessages }: Pick<Ports, "feederLink" | "retainedMessages">,
  feeder: string,
): void {
  feederLink.disconnect(feeder);
  retainedMessages.clear(feeder);
}
