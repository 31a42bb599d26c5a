import type { z } from "zod";
import type {
  DayView,
  DigestView,
  FeederView,
  HomeView,
  PhonesView,
  ProblemView,
  phoneRequest,
  RatesView,
  YardOrderView,
} from "../../server/contract/api.ts";
import { countRequest, takeEarlyResponse } from "./earlyResponses.ts";

/** What came of asking the server. A line that is down is ordinary, so it is an answer and not a throw. */
export type ApiResult<T> =
  | { readonly kind: "ok"; readonly value: T }
  | { readonly kind: "problem"; readonly problem: ProblemView; readonly retryAfterMs?: number }
  | { readonly kind: "signedOut"; readonly problem: ProblemView }
  | { readonly kind: "unreachable"; readonly retryAfterMs?: number };

/** What an act is answered with: the feeder that it was asked of, or those of the yard. */
export type ActionView = FeederView | YardOrderView;

const timeoutMs = 15_000;
/** For a request that only finds out whether anybody is there. */
const probeTimeoutMs = 4_000;
const gatewayStatuses = [502, 503, 504]; // a proxy answers in the server's place: the server itself wasn't reached

export const request = <T>(method: string, path: string, body?: unknown, patience = timeoutMs): Promise<ApiResult<T>> =>
  countRequest(() => sendRequest(method, path, body, patience));

async function sendRequest<T>(method: string, path: string, body: unknown, patience: number): Promise<ApiResult<T>> {
  let response: Response;
  let said: unknown;
  try {
    const early = method === "GET" ? takeEarlyResponse(`/api/v1${path}`) : undefined;
    response = await (early ??
      fetch(`/api/v1${path}`, {
        method,
        credentials: "same-origin",
        cache: "no-store",
        signal: AbortSignal.timeout(patience),
        ...(method === "GET"
          ? {}
          : {
              headers: { "content-type": "application/json", "x-pieward": "1" },
              body: JSON.stringify(body ?? {}),
            }),
      }));
    said = response.status === 204 ? null : await response.json();
  } catch {
    // No line, or a page put in between (a café's sign-in) that doesn't speak JSON: the server was not reached.
    return { kind: "unreachable" };
  }
  const retryAfterMs = retryAfterMsOf(response);
  if (gatewayStatuses.includes(response.status)) return { kind: "unreachable", retryAfterMs };
  if (response.ok) return { kind: "ok", value: said as T };
  const problem = said as ProblemView;
  return response.status === 401 ? { kind: "signedOut", problem } : { kind: "problem", problem, retryAfterMs };
}

/** Seconds, or a date (RFC 9110, 10.2.3); 0 where it says neither. */
function retryAfterMsOf(response: Response): number {
  const said = response.headers.get("retry-after") ?? "";
  if (/^\d+$/.test(said)) return Number(said) * 1_000;
  const until = Date.parse(said) - Date.now();
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
  /** Finds out with little whether the server is there, and whether it still knows this session. */
  probe: () => request<unknown>("GET", "/session", undefined, probeTimeoutMs),
  signOut: () => request<null>("DELETE", "/session"),

  home: () => request<HomeView>("GET", "/home"),
  alarmRates: (yardId: string) => request<RatesView>("GET", `${yard(yardId)}/alarm-rates`),
  /** Without a date the newest. */
  digest: (yardId: string, date: string | null) =>
    request<DigestView>("GET", `${yard(yardId)}/digest${date === null ? "" : `?date=${date}`}`),

  feeder: (id: string) => request<FeederView>("GET", feeder(id)),
  day: (id: string, date: string) => request<DayView>("GET", `${feeder(id)}/day?date=${date}`),
  /** An act on a feeder or on a whole yard: `path` is one of `paths`. */
  sendAction: (path: string, body: unknown) => request<ActionView>("POST", path, body),

  phones: () => request<PhonesView>("GET", "/phones"),
  addPhone: (phone: z.input<typeof phoneRequest>) => request<PhonesView>("POST", "/phones", phone),
  setPhonePermission: (endpoint: string, allowed: boolean) =>
    request<PhonesView>("POST", "/phones/permission", { endpoint, allowed }),
  removePhone: (endpoint: string) => request<unknown>("POST", "/phones/forget", { endpoint }),
};
