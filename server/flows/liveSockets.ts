import type { Ports } from "../ports.ts";
import { validSession } from "./signIn.ts";

/**
 * Closes the live sockets that nobody answers on, and those whose session is over: it expired, or it was ended by another
 * process on the same database, which can't close the sockets of this one.
 */
export async function checkLiveSockets(ports: Ports): Promise<void> {
  ports.liveFeed.pingAll();
  for (const session of ports.liveFeed.openSessions()) {
    if ((await validSession(ports, session)) === null) ports.liveFeed.closeSocketsOf({ session });
  }
}
