import type { Span } from "../instant.ts";
import { type Limits, quantile, shareLimits } from "../intervals.ts";
import type { FoodPromise } from "./promises.ts";

/** How well promises were kept over some days, and how soon. */
export interface KeptShare {
  readonly promised: number;
  readonly paid: number;
  readonly share: number | null; // null where nothing was promised
  readonly limits: Limits; // Wilson 1927, 95 %
  /** From the act to the start of the motor, of those that were paid; null where none was. */
  readonly latency: { readonly p50: Span; readonly p95: Span; readonly worst: Span } | null;
}

export function keptShare(promises: readonly FoodPromise[]): KeptShare {
  const paid = promises.filter(({ outcome }) => outcome === "paid");
  const latencies = paid.flatMap(({ latency }) => latency ?? []);
  return {
    promised: promises.length,
    paid: paid.length,
    share: promises.length === 0 ? null : paid.length / promises.length,
    limits: shareLimits(paid.length, promises.length),
    latency:
      latencies.length === 0
        ? null
        : {
            p50: Math.round(quantile(latencies, 0.5)) as Span,
            p95: Math.round(quantile(latencies, 0.95)) as Span,
            worst: Math.max(...latencies) as Span,
          },
  };
}
