import { cleanup, render } from "@testing-library/preact";
// Fetched apart by the page; here they are there from the start, so that no test waits for a disk.
import "../../client/screens/account.tsx";
import "../../client/screens/addFeederScreen.tsx";
import "../../client/screens/addYardScreen.tsx";
import "../../client/screens/cautionsScreen.tsx";
import "../../client/screens/claimScreen.tsx";
import "../../client/screens/daysScreen.tsx";
import "../../client/screens/digestScreen.tsx";
import "../../client/screens/feederScreen.tsx";
import "../../client/screens/feederSettingsScreen.tsx";
import "../../client/screens/joinScreen.tsx";
import "../../client/screens/peopleScreen.tsx";
import "../../client/screens/phonesScreen.tsx";
import "../../client/screens/practiceScreen.tsx";
import "../../client/screens/ratesScreen.tsx";
import "../../client/screens/refillScreen.tsx";
import "../../client/screens/resetScreen.tsx";
import "../../client/screens/yardScreen.tsx";
import { afterAll, afterEach, beforeEach, vi } from "vitest";
import { App } from "../../client/app.tsx";
import { memoryCupboard } from "../../client/kept/cupboard.ts";
import { givenUp, openActs, waiting } from "../../client/state/acts.ts";
import { days } from "../../client/state/days.ts";
import { home, line, openHome, signedIn } from "../../client/state/home.ts";
import { now } from "../../client/state/now.ts";
import { ownEndpoint } from "../../client/state/phone.ts";
import { phones, rememberedEndpoint } from "../../client/state/phones.ts";
import type { HomeView } from "../../server/contract/api.ts";
import { peopleView } from "./cannedPeople.ts";
import { dayView, homeView, phonesView } from "./cannedViews.ts";

type Reply = { readonly status: number; readonly body: unknown };
interface Asked {
  readonly method: string;
  readonly path: string;
  readonly body: unknown;
}

/** A small server in the page's place of `fetch`: what it doesn't know is a 404, and with the line cut nothing answers. */
export class Line {
  cut = false;
  signedOut = false;
  home: HomeView = homeView(Date.now());
  readonly asked: Asked[] = [];
  replies: Record<string, (body: unknown) => Reply> = {};

  readonly fetch = async (path: string, init: RequestInit): Promise<Response> => {
    if (this.cut) throw new TypeError("no line");
    const method = init.method ?? "GET";
    const body: unknown = typeof init.body === "string" ? JSON.parse(init.body) : null;
    const bare = path.replace("/api/v1", "").replace(/\?.*/, "");
    this.asked.push({ method, path: bare, body });
    const { status, body: said } = this.answer(method, bare, body);
    return new Response(JSON.stringify(said), { status });
  };

  private answer(method: string, path: string, body: unknown): Reply {
    const own = this.replies[`${method} ${path}`];
    if (own !== undefined) return own(body);
    if (this.signedOut) return { status: 401, body: problem(401, "Sign in first.") };
    if (path === "/home") return { status: 200, body: this.home };
    if (path === "/phones") return { status: 200, body: phonesView(Date.now()) };
    if (path.endsWith("/people")) return { status: 200, body: peopleView(Date.now()) };
    if (path.endsWith("/day")) return { status: 200, body: dayView("rowan", "2026-11-25") };
    const id = path.split("/")[2];
    const feeder = this.home.yards.flatMap((yard) => yard.feeders).find((each) => each.id === id);
    return feeder === undefined ? { status: 404, body: problem(404, "No such thing.") } : { status: 200, body: feeder };
  }

  /** What the n-th act said, as it went out. */
  sent(index: number): Record<string, string> {
    const post = this.posts()[index];
    if (post === undefined) throw new Error(`expected more than ${index} acts, got ${this.posts().length}`);
    return post.body as Record<string, string>;
  }
  posts = () => this.asked.filter(({ method }) => method !== "GET");
}
export const problem = (status: number, detail: string) => ({ type: "about:blank", title: "Not so", status, detail });

/** The live line stays silent here: what it brings is tested where it is fetched. */
class SilentSocket {
  onclose: (() => void) | null = null;
  close() {
    this.onclose?.();
  }
}

/** A line for each test of the file, and a page that knows nothing yet. `opened` takes each new line. */
export function withLine(opened: (server: Line) => void): void {
  beforeEach(() => {
    const server = new Line();
    vi.stubGlobal("fetch", server.fetch);
    vi.stubGlobal("WebSocket", SilentSocket);
    vi.stubGlobal("isSecureContext", true); // as over HTTPS; this little browser doesn't say
    home.value = null;
    signedIn.value = "unknown";
    line.value = "unknown";
    waiting.value = [];
    givenUp.value = [];
    days.value = new Map();
    phones.value = null;
    ownEndpoint.value = null;
    rememberedEndpoint.value = null;
    now.value = Date.now();
    opened(server);
  });
  afterEach(cleanup);
  afterAll(() => {
    vi.unstubAllGlobals();
  });
}

export async function openAt(path: string, cupboard = memoryCupboard()) {
  history.replaceState(null, "", path);
  render(<App />);
  await openHome(cupboard);
  await openActs(cupboard);
  return cupboard;
}
