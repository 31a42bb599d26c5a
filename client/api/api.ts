import type { z } from "zod";
import type {
  DayView,
  FeederView,
  HomeView,
  PhonesView,
  ProblemView,
  phoneRequest,
  YardOrderView,
} from "../../server/contract/api.ts";
import { countRequest, takeEarlyResponse } from "./earlyResponses.ts";

/** The result of a request. A lost connection is usual, so it is a result and not a thrown error. */
export type ApiResult<T> =
  | { readonly kind: "ok"; readonly value: T }
  | { readonly kind: "problem"; readonly problem: ProblemView; readonly retryAfterMs?: number }
  | { readonly kind: "signedOut"; readonly problem: ProblemView }
  | { readonly kind: "unreachable"; readonly retryAfterMs?: number };

/** The response to an action: its feeder, or the feeders of the yard. */
export type ActionView = FeederView | YardOrderView;

const timeoutMs = 15_000;
/** How long to wait: so many milliseconds, or until it is aborted. */
type TimeLimit = number | AbortSignal;
/** For a request that only finds out whether the server is there. */
const probeTimeoutMs = 4_000;
const gatewayStatuses = [502, 503, 504]; // from a proxy: the server itself was not reached

export const request = <T>(
  method: string,
  path: string,
  body?: unknown,
  timeLimit: TimeLimit = timeoutMs,
): Promise<ApiResult<T>> => countRequest(() => sendRequest(method, path, body, timeLimit));

async function sendRequest<T>(
  method: string,
  path: string,
  body: unknown,
  timeLimit: TimeLimit,
): Promise<ApiResult<T>> {
  let response: Response;
  let content: unknown;
  try {
    const early = method === "GET" ? takeEarlyResponse(`/api/v1${path}`) : undefined;
    response = await (early ??
      fetch(`/api/v1${path}`, {
        method,
        credentials: "same-origin",
        cache: "no-store",
        signal: typeof timeLimit === "number" ? AbortSignal.timeout(timeLimit) : timeLimit,
        ...(method === "GET" ? {} : sentBody(body)),
      }));
    content = response.status === 204 ? null : await response.json();
  } catch {
    // No connection, or a page of a public network's sign-in in place of JSON: the server was not reached.
    return { kind: "unreachable" };
  }
  const retryAfterMs = retryAfterMsOf(response);
  if (gatewayStatuses.includes(response.status)) return { kind: "unreachable", retryAfterMs };
  if (response.ok) return { kind: "ok", value: content as T };
  const problem = content as ProblemView;
  return response.status === 401 ? { kind: "signedOut", problem } : { kind: "problem", problem, retryAfterMs };
}

/** A picture goes as it is, anything else as JSON. */
const sentBody = (body: unknown) => ({
  headers: { "content-type": body instanceof Blob ? body.type : "application/json", "x-pieward": "1" },
  body: body instanceof Blob ? body : JSON.stringify(body ?? {}),
});

/** Seconds, or a date (RFC 9110, 10.2.3); 0 where there is neither. */
function retryAfterMsOf(response: Response): number {
  const header = response.headers.get("retry-after") ?? "";
  if (/^\d+$/.test(header)) return Number(header) * 1_000;
  const until = Date.parse(header) - Date.now();
  return Number.isFinite(until) ? Math.max(0, until) : 0;
}

const feeder = (id: string) => `/feeders/${encodeURIComponent(id)}`;
const yard = (id: string) => `/yards/${encodeURIComponent(id)}`;

const alarm = (id: string, fault: string) => `${feeder(id)}/alarms/${encodeURIComponent(fault)}`;

export const paths = {
  cleaned: (id: string) => `${feeder(id)}/cleaned`,
  refills: (id: string) => `${feeder(id)}/refills`,
  orders: (id: string) => `${feeder(id)}/orders`,
  yardOrders: (id: string) => `${yard(id)}/orders`,
  acknowledge: (id: string, fault: string) => `${alarm(id, fault)}/acknowledge`,
  reset: (id: string, fault: string) => `${alarm(id, fault)}/reset`,
  shelve: (id: string, fault: string) => `${alarm(id, fault)}/shelve`,
  takeOutOfService: (id: string, fault: string) => `${alarm(id, fault)}/out-of-service`,
  returnToService: (id: string, fault: string) => `${alarm(id, fault)}/return-to-service`,
};

export const api = {
  signIn: (name: string, passphrase: string) =>
    request<{ keeper: { name: string } }>("POST", "/session", { name, passphrase }),
  /** Finds out at low cost whether the server is there, and whether this session is valid. */
  probe: () => request<unknown>("GET", "/session", undefined, probeTimeoutMs),
  signOut: () => request<null>("DELETE", "/session"),

  home: () => request<HomeView>("GET", "/home"),

  feeder: (id: string) => request<FeederView>("GET", feeder(id)),
  day: (id: string, date: string) => request<DayView>("GET", `${feeder(id)}/day?date=${date}`),
  /** An action on a feeder or a whole yard: `path` is one of `paths`. */
  sendAction: (path: string, body: unknown) => request<ActionView>("POST", path, body),

  phones: () => request<PhonesView>("GET", "/phones"),
  addPhone: (phone: z.input<typeof phoneRequest>) => request<PhonesView>("POST", "/phones", phone),
  setPhonePermission: (endpoint: string, allowed: boolean) =>
    request<PhonesView>("POST", "/phones/permission", { endpoint, allowed }),
  removePhone: (endpoint: string) => request<unknown>("POST", "/phones/forget", { endpoint }),
};
