import type { Ports } from "../ports.ts";
import { validSession } from "./signIn.ts";

/**
 * Closes the live sockets whose other end doesn't answer, and those whose session is over: it expired, or another process on the
 * same database ended it and couldn't close the sockets of this process.
 */
export async function checkLiveSockets(ports: Ports): Promise<void> {
  ports.liveFeed.pingAll();
  for (const session of ports.liveFeed.openSessions()) {
    if ((await validSession(ports, session)) === null) ports.liveFeed.closeSocketsOf({ session });
  }
}
