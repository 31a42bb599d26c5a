import type { FeederSockets } from "../adapters/feederSockets.ts";
import type { FeederKeys } from "../flows/feederKeys.ts";
import type { Ingest } from "../flows/ingest.ts";
import type { Ports } from "../ports.ts";
import type { BodyBudget } from "./bodyBudget.ts";
import type { FeederLimits } from "./feederLimits.ts";
import type { Overload } from "./overload.ts";

/** What the routes on which feeders report share. */
export interface ReportingContext {
  readonly ports: Ports;
  readonly keys: FeederKeys;
  readonly ingest: Ingest;
  readonly sockets: FeederSockets;
  readonly reportsPerMinute: number;
  readonly limits: FeederLimits;
  readonly overload: Overload;
  /** Of reports whose sender is proven, and of those whose signature can only be checked once the body is here. */
  readonly bodies: { readonly proven: BodyBudget; readonly unproven: BodyBudget };
}
