import { cleanup, render } from "@testing-library/preact";
// The app loads these later; imported here, so that no test waits for a disk.
import "../../client/screens/accountScreen.tsx";
import "../../client/screens/addFeederScreen.tsx";
import "../../client/screens/addYardScreen.tsx";
import "../../client/screens/cautionsScreen.tsx";
import "../../client/screens/firstSignInScreen.tsx";
import "../../client/screens/daysScreen.tsx";
import "../../client/screens/digestScreen.tsx";
import "../../client/screens/feederScreen.tsx";
import "../../client/screens/feederSettingsScreen.tsx";
import "../../client/screens/joinScreen.tsx";
import "../../client/screens/recipientsScreen.tsx";
import "../../client/screens/recordScreens.tsx";
import "../../client/screens/youScreen.tsx";
import "../../client/screens/practiceScreen.tsx";
import "../../client/screens/alarmRatesScreen.tsx";
import "../../client/screens/refillScreen.tsx";
import "../../client/screens/resetPassphraseScreen.tsx";
import "../../client/screens/yardScreen.tsx";
import { afterAll, afterEach, beforeEach, vi } from "vitest";
import { App } from "../../client/app.tsx";
import { memoryStore } from "../../client/offline/localStore.ts";
import { failedActions, openActions, queuedActions } from "../../client/state/actions.ts";
import { now } from "../../client/state/clock.ts";
import { days } from "../../client/state/days.ts";
import { histories } from "../../client/state/histories.ts";
import { connectionState, home, openHome, signedIn } from "../../client/state/home.ts";
import { ownEndpoint } from "../../client/state/ownPhone.ts";
import { phones, storedEndpoint } from "../../client/state/phones.ts";
import type { HistoryView, HomeView } from "../../server/contract/api.ts";
import { hopperHistoryFixture, portionsViewFixture } from "./evidenceFixture.ts";
import { peopleViewFixture } from "./peopleFixture.ts";
import { dayViewFixture, homeViewFixture, phonesViewFixture } from "./viewFixtures.ts";

type Reply = { readonly status: number; readonly body: unknown };
interface SentRequest {
  readonly method: string;
  readonly path: string;
  readonly body: unknown;
}

/** A small server in place of `fetch`: an unknown path is a 404, and while offline every request fails. */
export class FakeConnection {
  offline = false;
  signedOut = false;
  home: HomeView = homeViewFixture(Date.now());
  readonly requests: SentRequest[] = [];
  /** The histories of feeders; null: the hours of a hopper alone. */
  histories: ((query: URLSearchParams) => HistoryView) | null = null;
  replies: Record<string, (body: unknown) => Reply> = {};

  readonly fetch = async (path: string, init: RequestInit): Promise<Response> => {
    if (this.offline) throw new TypeError("offline");
    const method = init.method ?? "GET";
    const body: unknown = typeof init.body === "string" ? JSON.parse(init.body) : null;
    const bare = path.replace("/api/v1", "").replace(/\?.*/, "");
    this.requests.push({ method, path: bare, body });
    const isHistory = bare.endsWith("/history") && this.histories !== null && !this.signedOut;
    const query = new URLSearchParams(path.split("?")[1]);
    const reply = isHistory ? { status: 200, body: this.histories?.(query) } : this.replyTo(method, bare, body);
    return new Response(JSON.stringify(reply.body), { status: reply.status });
  };

  private replyTo(method: string, path: string, body: unknown): Reply {
    const own = this.replies[`${method} ${path}`];
    if (own !== undefined) return own(body);
    if (this.signedOut) return { status: 401, body: problem(401, "Sign in first.") };
    if (path === "/home") return { status: 200, body: this.home };
    if (path === "/phones") return { status: 200, body: phonesViewFixture(Date.now()) };
    if (path.endsWith("/people")) return { status: 200, body: peopleViewFixture(Date.now()) };
    if (path.endsWith("/day")) return { status: 200, body: dayViewFixture("rowan", "2026-11-25") };
    if (path.endsWith("/portions")) return { status: 200, body: portionsViewFixture(Date.now()) };
    if (path.endsWith("/history")) return { status: 200, body: hopperHistoryFixture(Date.now()) };
    const id = path.split("/")[2];
    const feeder = this.home.yards.flatMap((yard) => yard.feeders).find((each) => each.id === id);
    return feeder === undefined ? { status: 404, body: problem(404, "No such thing.") } : { status: 200, body: feeder };
  }

  /** The body of the n-th action, as it was sent. */
  sent(index: number): Record<string, string> {
    const post = this.posts()[index];
    if (post === undefined) throw new Error(`expected more than ${index} actions, got ${this.posts().length}`);
    return post.body as Record<string, string>;
  }
  posts = () => this.requests.filter(({ method }) => method !== "GET");
}
export const problem = (status: number, detail: string) => ({ type: "about:blank", title: "Not so", status, detail });

/** The live connection sends nothing here: its messages are tested elsewhere. */
class SilentSocket {
  onclose: (() => void) | null = null;
  close() {
    this.onclose?.();
  }
}

/** A connection for each test of the file, and an empty page. `opened` gets each new connection. */
export function withFakeConnection(opened: (server: FakeConnection) => void): void {
  beforeEach(() => {
    const server = new FakeConnection();
    vi.stubGlobal("fetch", server.fetch);
    vi.stubGlobal("WebSocket", SilentSocket);
    vi.stubGlobal("isSecureContext", true); // as over HTTPS; happy-dom does not set it
    home.value = null;
    signedIn.value = "unknown";
    connectionState.value = "unknown";
    queuedActions.value = [];
    failedActions.value = [];
    days.value = new Map();
    histories.value = new Map();
    phones.value = null;
    ownEndpoint.value = null;
    storedEndpoint.value = null;
    now.value = Date.now();
    opened(server);
  });
  afterEach(cleanup);
  afterAll(() => {
    vi.unstubAllGlobals();
  });
}

export async function openPage(path: string, store = memoryStore()) {
  history.replaceState(null, "", path);
  render(<App />);
  await openHome(store);
  await openActions(store);
  return store;
}
