import { cleanup, render, waitFor } from "@testing-library/preact";
// The app loads these later; imported here, so that no run depends on how fast a disk is.
import "../../client/screens/feederScreen.tsx";
import "../../client/screens/youScreen.tsx";
import { vi } from "vitest";
import { App } from "../../client/app.tsx";
import { memoryStore } from "../../client/offline/localStore.ts";
import { now, serverNow } from "../../client/state/clock.ts";
import { days } from "../../client/state/days.ts";
import { connectionState, home, openHome, signedIn } from "../../client/state/home.ts";
import { ownEndpoint } from "../../client/state/ownPhone.ts";
import { phones, storedEndpoint } from "../../client/state/phones.ts";
import { title as phonesTitle } from "../../client/text/en/phonesScreen.ts";
import type { FeederView } from "../../server/contract/api.ts";
import { checkAllClear, checkFeederScreen, checkTexts, type Violation } from "./feederChecks.ts";
import { EndpointKnowledge } from "./knowledge.ts";
import type { ScenarioPerson, ScenarioPhone } from "./people.ts";
import { checkPhonesScreen } from "./phoneChecks.ts";
import { checkStatus } from "./protocolChecks.ts";
import type { ScenarioRun } from "./run.ts";
import { claimsAllWell } from "./texts.ts";

/** What the client itself writes on its screens, out of the server's own answers, as one person sees it. */
export async function readScreens(run: ScenarioRun): Promise<readonly Violation[]> {
  const { people, step, watched, endpoints, now } = run;
  const person = people[Math.floor(step / 7) % people.length] as ScenarioPerson;
  const phone = person.phones[step % Math.max(1, person.phones.length)];
  const found: Violation[] = [];
  begin(run, person, phone);
  try {
    const views = await openAt("/", () => home.value?.view.yards.flatMap((yard) => yard.feeders));
    found.push(...checkTexts("screen of feeders", [pageText()]));
    for (const { feeder, known, terms } of watched) {
      const view = viewOf(views, feeder.id);
      const entry = document.querySelector(`a[href="/feeders/${feeder.id}"]`)?.closest("li");
      if (view === undefined || !entry)
        throw new Error(`expected ${feeder.profile.name} on the page, got ${pageText()}`);
      found.push(...checkAllClear(`screen of feeders, ${view.name}`, textOf(entry), view, known, terms, now));
      if (claimsAllWell(pageText()))
        found.push(...checkAllClear("screen of feeders", pageText(), view, known, terms, now));
    }
    for (const { feeder, known, terms } of watched) {
      await openAt(`/feeders/${feeder.id}`, () =>
        document.querySelector("h1")?.textContent?.includes(feeder.profile.name),
      );
      const view = viewOf(views, feeder.id) as FeederView;
      found.push(...checkFeederScreen(pageText(), view, known, terms, now));
    }
    phones.value = null;
    await openAt("/phones", () => phones.value !== null && document.querySelector("h1")?.textContent === phonesTitle);
    const own = endpoints.get(ownEndpoint.value ?? "") ?? null;
    const proved = [...endpoints.values()].filter((one) => one.person === person.name && one.isProved(now)).length;
    found.push(...checkPhonesScreen(pageText(), own, proved, now));
    await answered();
  } finally {
    cleanup();
    vi.unstubAllGlobals();
    Reflect.deleteProperty(navigator, "serviceWorker");
  }
  return found;
}

const viewOf = (views: readonly FeederView[], id: string) => views.find((view) => view.id === id);

const requests = new Set<Promise<unknown>>();

/** Until the page has all answers: one that it didn't wait for (a phone handed in) may change what the server knows. */
async function answered(): Promise<void> {
  while (requests.size > 0) {
    await Promise.allSettled(requests);
    await new Promise((resolve) => setTimeout(resolve)); // an answer may lead to another request
  }
}

/** A browser of this person's, freshly opened, with the server in the place of its network. */
function begin(run: ScenarioRun, person: ScenarioPerson, phone: ScenarioPhone | undefined): void {
  const send = async (path: string, init: RequestInit = {}) => {
    const method = (init.method ?? "GET") as "GET";
    const body = typeof init.body === "string" ? init.body : undefined;
    const answer = await run.server.request(method, path, { headers: person.headers, body, from: person.from });
    run.note(checkStatus(`${method} ${path} from a page`, answer.status, answer.text));
    if (init.method === "POST" && path.startsWith("/api/v1/phones"))
      noteHandedIn(run, person, phone, path, body, answer.status);
    return new Response(answer.status === 204 ? null : answer.text, { status: answer.status });
  };
  vi.stubGlobal("fetch", (path: string, init?: RequestInit) => {
    const request = send(path, init);
    requests.add(request);
    return request.finally(() => requests.delete(request));
  });
  vi.stubGlobal("WebSocket", SilentSocket);
  vi.stubGlobal("isSecureContext", true);
  vi.stubGlobal("PushManager", class {});
  vi.stubGlobal("Notification", { permission: "granted" });
  const endpoint = phone?.subscription?.endpoint ?? null;
  const subscription = endpoint === null ? null : { endpoint, options: {}, toJSON: () => subscriptionOf(phone) };
  const registration = { pushManager: { getSubscription: async () => subscription }, getNotifications: async () => [] };
  Object.defineProperty(navigator, "serviceWorker", {
    configurable: true,
    value: Object.assign(new EventTarget(), {
      getRegistration: async () => registration,
      ready: Promise.resolve(registration),
      controller: null,
    }),
  });
  home.value = null;
  signedIn.value = "unknown";
  connectionState.value = "unknown";
  days.value = new Map();
  ownEndpoint.value = endpoint;
  storedEndpoint.value = endpoint;
}

const subscriptionOf = (phone: ScenarioPhone | undefined) => {
  const { endpoint, p256dh, auth } = phone?.subscription ?? {};
  return { endpoint, keys: { p256dh, auth } };
};

/** A page may hand its own address in by itself when it is opened: then the server knows it from now on. */
function noteHandedIn(
  run: ScenarioRun,
  person: ScenarioPerson,
  phone: ScenarioPhone | undefined,
  path: string,
  body: string | undefined,
  status: number,
): void {
  const { endpoint, replaces } = JSON.parse(body ?? "{}") as { endpoint?: string; replaces?: string | null };
  const gone = path.endsWith("/forget") && status === 200 ? endpoint : status === 201 ? replaces : null;
  const known = run.endpoints.get(gone ?? "");
  if (known !== undefined && gone !== endpoint) known.goneAt ??= run.now;
  if (path !== "/api/v1/phones" || status !== 201 || endpoint === undefined) return;
  const handedIn = run.endpoints.get(endpoint);
  if (handedIn === undefined) run.endpoints.set(endpoint, new EndpointKnowledge(person.name, run.now));
  else handedIn.listAnew(run.now);
  if (phone !== undefined) phone.registeredEndpoint = endpoint;
}

class SilentSocket {
  onclose: (() => void) | null = null;
  close() {
    this.onclose?.();
  }
}

/** In real time: a busy machine must not decide what the checks find. */
const openWithin = { timeout: 20_000 };

/** Goes to a page and waits until it has what it shows. */
async function openAt<T>(path: string, ready: () => T | null | undefined | false): Promise<T> {
  cleanup();
  history.replaceState(null, "", path);
  await openHome(memoryStore());
  now.value = serverNow();
  render(<App />);
  return waitFor(() => {
    const value = ready();
    if (!value) throw new Error(`expected ${path} to open, got ${pageText()}`);
    return value;
  }, openWithin);
}

/** As a reader takes it: each block on a line of its own, and what only a screen reader reads out. */
function textOf(element: Element): string {
  const walk = (node: Node): string => {
    if (node.nodeType === 3) return node.textContent ?? "";
    const inside = [...node.childNodes].map(walk).join("");
    const label = (node as Element).getAttribute?.("aria-label") ?? "";
    const isInline = /^(span|a|b|em|strong|small|time|abbr|i)$/i.test((node as Element).tagName ?? "");
    return isInline ? `${label}${inside}` : `\n${label}\n${inside}\n`;
  };
  return walk(element)
    .replace(/[ \t]+/g, " ")
    .replace(/\s*\n\s*/g, "\n")
    .trim();
}
const pageText = (): string => textOf(document.getElementById("page") ?? document.body);
