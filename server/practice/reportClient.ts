import { type Answer, answerSchema } from "../contract/report.ts";
import { minutes, type Span, seconds } from "../domain/instant.ts";
import type { ReportInput } from "./feeder.ts";

/** The server as any feeder reaches it: over HTTP. */
export interface ServerConnection {
  readonly url: string;
  readonly key: string;
  readonly fetch: typeof globalThis.fetch;
  readonly timers: Timers;
}

export interface Timers {
  setTimeout(work: () => void, milliseconds: number): unknown;
  clearTimeout(timer: unknown): void;
}

/** The result of sending a report. Nothing is thrown: a server that can't be reached is ordinary for a feeder. */
export type SendResult =
  | { readonly kind: "answered"; readonly answer: Answer }
  | { readonly kind: "tooLarge"; readonly text: string } // 413: send less at once
  | { readonly kind: "tooOften"; readonly retryAfter: Span | null; readonly text: string } // 429
  | { readonly kind: "refused"; readonly text: string } // the server understood the report and rejects it
  | { readonly kind: "unreachable"; readonly text: string };

const answerTimeout: Span = seconds(15);

export async function sendReport(
  server: ServerConnection,
  report: ReportInput,
  stopped: AbortSignal,
): Promise<SendResult> {
  const giveUp = new AbortController();
  const giveUpNow = () => giveUp.abort(new Error("gave up waiting"));
  const timer = server.timers.setTimeout(giveUpNow, answerTimeout);
  stopped.addEventListener("abort", giveUpNow);
  try {
    const response = await server.fetch(new URL("/api/v1/report", server.url), {
      method: "POST",
      headers: { authorization: `Bearer ${server.key}`, "content-type": "application/json" },
      body: JSON.stringify(report),
      signal: giveUp.signal,
    });
    return readResponse(response.status, response.headers.get("retry-after"), await response.text());
  } catch (error) {
    return { kind: "unreachable", text: errorText(error) };
  } finally {
    server.timers.clearTimeout(timer);
    stopped.removeEventListener("abort", giveUpNow);
  }
}

function readResponse(status: number, retryAfter: string | null, body: string): SendResult {
  if (status === 200) return readAnswer(body);
  const text = `${status}: ${problemText(body)}`;
  if (status === 413) return { kind: "tooLarge", text };
  if (status === 429) return { kind: "tooOften", retryAfter: retryAfterSpan(retryAfter), text };
  return status >= 500 ? { kind: "unreachable", text } : { kind: "refused", text };
}

function readAnswer(body: string): SendResult {
  const answer = answerSchema.safeParse(parseJson(body));
  return answer.success
    ? { kind: "answered", answer: answer.data }
    : { kind: "refused", text: `200, but not an answer as agreed: ${answer.error.message}` };
}

/** RFC 9457 problem details, if that is what came. */
function problemText(body: string): string {
  const problem = parseJson(body);
  if (typeof problem !== "object" || problem === null) return body.slice(0, 300);
  const { title, detail, errors } = problem as { title?: unknown; detail?: unknown; errors?: unknown };
  const text = [title, detail].filter((part) => typeof part === "string").join(". ");
  return errors === undefined ? text : `${text} ${JSON.stringify(errors).slice(0, 600)}`;
}

/** RFC 9110: seconds, or a date. A date is ignored: the usual back-off is enough. */
function retryAfterSpan(retryAfter: string | null): Span | null {
  const wait = Number(retryAfter ?? Number.NaN);
  return Number.isFinite(wait) && wait >= 0 ? (Math.min(seconds(wait), minutes(10)) as Span) : null;
}

function parseJson(body: string): unknown {
  try {
    return JSON.parse(body);
  } catch {
    return null; // not JSON: shown as plain text
  }
}

const errorText = (error: unknown): string => {
  if (!(error instanceof Error)) return String(error);
  return error.cause instanceof Error ? `${error.message}: ${error.cause.message}` : error.message;
};
