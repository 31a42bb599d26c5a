import type { Span } from "../instant.ts";

/** A span as text: "40 seconds", "12 minutes", "3 hours", "2 days". */
export function spanText(span: Span): string {
  const { whole, unit } = rounded(span);
  return whole === 1 ? `1 ${unit}` : `${whole} ${unit}s`;
}

/** An interval as text: "every minute", "every 15 minutes". */
export function intervalText(span: Span): string {
  const { whole, unit } = rounded(span);
  return whole === 1 ? `every ${unit}` : `every ${whole} ${unit}s`;
}

function rounded(span: Span): { whole: number; unit: string } {
  const seconds = span / 1_000;
  if (seconds < 55) return { whole: Math.max(1, Math.round(seconds)), unit: "second" };
  if (seconds < 90 * 60) return { whole: Math.round(seconds / 60), unit: "minute" };
  if (seconds < 36 * 3_600) return { whole: Math.round(seconds / 3_600), unit: "hour" };
  return { whole: Math.round(seconds / 86_400), unit: "day" };
}
