import type { Span } from "../instant.ts";

/** A span as people say it: "40 seconds", "12 minutes", "3 hours", "2 days". */
export function inWords(span: Span): string {
  const seconds = span / 1_000;
  if (seconds < 90) return counted(seconds, "second");
  if (seconds < 90 * 60) return counted(seconds / 60, "minute");
  if (seconds < 36 * 3_600) return counted(seconds / 3_600, "hour");
  return counted(seconds / 86_400, "day");
}

function counted(amount: number, unit: string): string {
  const whole = Math.max(1, Math.round(amount));
  return whole === 1 ? `1 ${unit}` : `${whole} ${unit}s`;
}
