import type { Ports } from "../ports.ts";
import { validSession } from "./signIn.ts";

/**
 * Closes the live sockets that nobody answers on, and those whose session is over: it expired, or it was ended by another
 * process on the same database, which can't close the sockets of this one.
 */
export async function checkLiveSockets(ports: Ports): Promise<void> {
  ports.live.pingAll();
  for (const session of ports.live.sessions()) {
    if ((await validSession(ports, session)) === null) ports.live.closeSocketsOf({ session });
  }
}
