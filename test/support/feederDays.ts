import { type Instant, minutes, type Span } from "../../server/domain/instant.ts";
import { createIngest } from "../../server/flows/ingest.ts";
import { runPeriodicChecks } from "../../server/flows/periodicCheck.ts";
import type { TestServer } from "./testServer.ts";

/** Reports once in so many minutes of a feeder without sensors, or is silent meanwhile; the server checks it every ten minutes. */
export async function liveMinutes(
  server: TestServer,
  feeder: string,
  { count, every = 10, silent = false }: { readonly count: number; readonly every?: number; readonly silent?: boolean },
): Promise<void> {
  const ingest = createIngest(server.ports);
  for (let minute = 0; minute < count; minute += every) {
    const now: Instant = server.clock.advance(minutes(every) as Span);
    if (minute % 10 === 0) await runPeriodicChecks(server.ports);
    if (!silent) await ingest.take(feeder, { boot: "b-1", sentUptimeMs: now - startedAt });
  }
}

/** Its one start, before all tests. */
const startedAt = Date.parse("2026-01-01T00:00:00Z");
