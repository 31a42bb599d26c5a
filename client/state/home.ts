import { computed, signal } from "@preact/signals";
import type { FeederView, FoodView, HomeView, HopperView, MeView, YardView } from "../../server/contract/api.ts";
import { type ApiResult, api } from "../api/api.ts";
import { type LiveConnection, type LiveHandlers, openLiveConnection } from "../api/liveConnection.ts";
import {
  hiddenRetryMaxMs,
  requestedRetryDelay,
  retryDelayMs,
  retryUntilAnswered,
  visibleRetryMaxMs,
} from "../api/retry.ts";
import type { LocalStore } from "../offline/localStore.ts";
import { changeText } from "../text/alarm.ts";
import { announce } from "./announcement.ts";
import { now, serverNow, setServerTime } from "./clock.ts";
import { closeStaleNotifications } from "./shownNotifications.ts";

/** The person's yards, and when they were loaded. */
export interface StoredHome {
  readonly view: HomeView;
  readonly asOf: number; // ms since the epoch, by the server's clock
}

export const home = signal<StoredHome | null>(null);
export const signedIn = signal<"unknown" | "yes" | "no">("unknown");
/** `offline` once the server could not be reached; `live` while its socket is open; `polling` without a socket. */
export const connectionState = signal<"unknown" | "live" | "polling" | "offline">("unknown");
/**
 * How the last session ended: while this page was open (its forms still have their content), or before, with its data still
 * on the phone.
 */
export const sessionEnd = signal<"here" | "before" | null>(null);
/** Grows when the server is back: what was missed is loaded again. */
export const reconnectCount = signal(0);
/** Grows when a phone of this person was added or removed, or when such a change may have been missed. */
export const phoneChangeCount = signal(0);
/** Why the home could not be loaded; null without a problem. */
export const homeError = signal<string | null>(null);

export const yards = computed<readonly YardView[]>(() => home.value?.view.yards ?? []);
export const foods = computed<readonly FoodView[]>(() => home.value?.view.foods ?? []);

export function findFeeder(id: string): { readonly feeder: FeederView; readonly yard: YardView } | null {
  for (const yard of yards.value) {
    const feeder = yard.feeders.find((each) => each.id === id);
    if (feeder !== undefined) return { feeder, yard };
  }
  return null;
}

let store: LocalStore | null = null;
const homeKey = "home";

/**
 * Shows the stored state at once, then loads it from the server.
 * @param alongside another request for the first screen: waits a moment for it, so that nothing moves when it comes
 */
export async function openHome(opened: LocalStore, alongside: Promise<unknown> = Promise.resolve()): Promise<void> {
  store = opened;
  const stored = await opened.get<StoredHome>(homeKey);
  if (stored !== undefined && home.value === null) home.value = { ...stored, view: withDefaults(stored.view) };
  const refreshIfVisible = () => {
    if (document.visibilityState !== "hidden" && signedIn.value !== "no") void refreshHome();
  };
  document.addEventListener("visibilitychange", refreshIfVisible); // it may have been hidden for long
  addEventListener("online", refreshIfVisible);
  const timeLimit = new Promise((resolve) => setTimeout(resolve, parallelLoadMaxMs));
  await refreshHome(home.value === null ? Promise.race([alongside, timeLimit]) : undefined);
}
/** After this time the home is shown without it. Our choice. */
const parallelLoadMaxMs = 1_000;

/** A state that an earlier build stored lacks the fields that were added since. */
const withDefaults = (stored: HomeView): HomeView => ({
  ...stored,
  keeper: { ...{ id: "", email: null, canEmail: false }, ...(stored.keeper as Partial<MeView> & { name: string }) },
  foods: (stored as Partial<HomeView>).foods ?? [],
  storageProblem: (stored as Partial<HomeView>).storageProblem ?? null,
  yards: stored.yards.map((yard) => ({
    ...{ escalateMinutes: 15, role: "keeper", peopleCount: 1, escalations: [], unusableZone: null, damagedFeeders: [] },
    ...{ diseaseNotice: null },
    ...(yard as Omit<YardView, "role"> & Partial<YardView>),
    feeders: yard.feeders.map((feeder) => ({
      ...feeder,
      blindSpots: (feeder as Partial<FeederView>).blindSpots ?? [],
      summaryValidUntil: (feeder as Partial<FeederView>).summaryValidUntil ?? null,
      questions: (feeder as Partial<FeederView>).questions ?? [],
      cleanedAt: (feeder as Partial<FeederView>).cleanedAt ?? null,
      hopper: { ...feeder.hopper, portionText: (feeder.hopper as Partial<HopperView>).portionText ?? "" },
    })),
  })),
});

let refreshesInProgress = 0;
let stopRetrying: () => void = () => undefined;

/** Loads the home, and repeats it where the server has a problem. A newer request replaces one that waits. */
export function refreshHome(alongside?: Promise<unknown>): Promise<void> {
  stopRetrying();
  return new Promise((resolve) => {
    stopRetrying = retryUntilAnswered(async () => {
      refreshesInProgress += 1;
      const result = await api.home();
      await alongside;
      updateConnectionState(result);
      refreshesInProgress -= 1;
      if (result.kind === "ok") acceptHome(result.value);
      else if (result.kind === "problem") homeError.value = result.problem.detail;
      resolve();
      return result;
    });
  });
}

/** Every result shows the state of the connection and of the session. */
export function updateConnectionState(result: ApiResult<unknown>): void {
  if (result.kind === "unreachable") {
    connectionState.value = "offline";
    probeLater(requestedRetryDelay(result));
    return;
  }
  const isBack = connectionState.value === "offline";
  if (connectionState.value !== "live") connectionState.value = "polling";
  if (result.kind === "signedOut") endSession();
  else if (result.kind === "ok" && signedIn.value !== "no") signedIn.value = "yes";
  if (isBack) reconnect();
}

// --- while the server can't be reached ------------------------------------------------------------------------------

let probeTimer: ReturnType<typeof setTimeout> | undefined;
let failures = 0;

function probeLater(retryAfterMs: number): void {
  if (probeTimer !== undefined) return;
  const longestMs = document.visibilityState === "hidden" ? hiddenRetryMaxMs : visibleRetryMaxMs;
  probeTimer = setTimeout(() => void recheckAfter(), retryDelayMs(failures, Math.random(), longestMs, retryAfterMs));
  failures += 1;
}

async function recheckAfter(): Promise<void> {
  clearTimeout(probeTimer);
  probeTimer = undefined;
  updateConnectionState(await api.probe());
}

/** Loads what was missed, and opens the live connection again. */
function reconnect(): void {
  clearTimeout(probeTimer);
  probeTimer = undefined;
  failures = 0;
  reconnectCount.value += 1;
  liveConnection?.connectNow();
  if (refreshesInProgress === 0 && signedIn.value !== "no") void refreshHome();
}

export function acceptHome(view: HomeView): void {
  setServerTime(view.serverTime);
  homeError.value = null;
  signedIn.value = "yes";
  const before = new Map(yards.value.flatMap((yard) => yard.feeders).map((feeder) => [feeder.id, feeder]));
  const news = view.yards
    .flatMap((yard) => yard.feeders)
    .map((feeder) => describeChange(before.get(feeder.id), feeder));
  announce(news.filter((change) => change !== "").join(" "));
  setHome({
    ...view,
    yards: view.yards.map((yard) => ({
      ...yard,
      feeders: yard.feeders.map((feeder) => newerFeeder(before.get(feeder.id), feeder)),
    })),
  });
  connectLive();
  closeStale(
    view.yards.flatMap((yard) => yard.feeders),
    Date.parse(view.serverTime),
  );
}

/**
 * Replaces one feeder's state. Responses can overtake each other, so an older revision changes nothing.
 * @param requestedAt ms since the epoch, the server's clock: the state may lack what happened later
 */
export const acceptFeeder = (feeder: FeederView, requestedAt = 0): void => acceptFeeders([feeder], requestedAt);

/** The same for several at once, read out together by a screen reader. */
export function acceptFeeders(feeders: readonly FeederView[], requestedAt: number): void {
  const known = home.value;
  if (known === null) return;
  const before = new Map(feeders.map(({ id }) => [id, findFeeder(id)?.feeder]));
  if ([...before.values()].includes(undefined)) void refreshHome(); // a feeder that this page doesn't know yet
  const news = feeders.filter(({ id, revision }) => (before.get(id)?.revision ?? Infinity) <= revision);
  if (news.length === 0) return;
  const changes = news.map((feeder) => describeChange(before.get(feeder.id), feeder));
  announce(changes.filter((each) => each !== "").join(" "));
  const newest = new Map(news.map((feeder) => [feeder.id, feeder]));
  setHome({
    ...known.view,
    yards: known.view.yards.map((yard) => ({
      ...yard,
      feeders: yard.feeders.map((each) => newest.get(each.id) ?? each),
    })),
  });
  closeStale(news, requestedAt);
}

/** Closes notifications that need no action any more. */
const closeStale = (feeders: readonly FeederView[], asOf: number) => {
  closeStaleNotifications(feeders, asOf).catch((cause: unknown) =>
    console.warn("Stale notifications could not be closed.", cause),
  );
};

const newerFeeder = (before: FeederView | undefined, feeder: FeederView) =>
  before !== undefined && before.revision > feeder.revision ? before : feeder;
const describeChange = (before: FeederView | undefined, feeder: FeederView) =>
  before === undefined ? "" : changeText(before, feeder);

function setHome(view: HomeView): void {
  const known = { view, asOf: serverNow() };
  now.value = known.asOf;
  home.value = known;
  store?.put(homeKey, known).catch((cause: unknown) => console.warn("The last state could not be stored.", cause));
}

// --- the live connection ----------------------------------------------------------------------------------------------

let liveConnection: LiveConnection | null = null;

/** Receives changes from the first sign-in on. */
function connectLive(): void {
  if (liveConnection !== null) return;
  let missed = false;
  liveConnection = openLiveConnection({
    onMessage: handleLiveMessage,
    onOpen: () => {
      connectionState.value = "live";
      // The first opening follows a fresh fetch; any later one may have missed something.
      if (missed) {
        void refreshHome();
        phoneChangeCount.value += 1;
      }
      missed = true;
    },
    onClose: () => {
      if (connectionState.value === "live") connectionState.value = "polling";
      // Finds out whether the server is away, the session over, or only the socket closed. Offline, it is checked already.
      if (connectionState.value !== "offline") void refreshHome();
    },
    onTimeout: () => {
      connectionState.value = "offline"; // possibly: the next check shows it
      void recheckAfter();
    },
  });
}

const changedFeeders = new Map<string, number | null>();
let gatherTimer: ReturnType<typeof setTimeout> | undefined;
const gatherMs = 150;

/** Hints come in bursts (one report changes a feeder several times): load once for all of them. */
function handleLiveMessage(message: Parameters<LiveHandlers["onMessage"]>[0]): void {
  if (message.kind === "phones") {
    phoneChangeCount.value += 1;
    return;
  }
  if (message.feeder === null) changedFeeders.set("", null);
  else changedFeeders.set(message.feeder, message.revision);
  clearTimeout(gatherTimer);
  gatherTimer = setTimeout(() => {
    const hints = [...changedFeeders];
    changedFeeders.clear();
    if (hints.some(([feeder]) => feeder === "" || findFeeder(feeder) === null)) void refreshHome();
    else for (const [feeder, revision] of hints) void refreshFeeder(feeder, revision);
  }, gatherMs);
}

async function refreshFeeder(id: string, revision: number | null): Promise<void> {
  const known = findFeeder(id)?.feeder;
  if (known !== undefined && revision !== null && known.revision >= revision) return;
  const requestedAt = serverNow();
  const result = await api.feeder(id);
  updateConnectionState(result);
  if (result.kind === "ok") acceptFeeder(result.value, requestedAt);
  else if (result.kind === "problem") await refreshHome(); // probably removed
}

// --- coming and going ----------------------------------------------------------------------------------------------

/** The session is over: closes the live connection. Stored data stays, for the same person's return. */
function endSession(): void {
  if (signedIn.value !== "no")
    sessionEnd.value = signedIn.value === "yes" ? "here" : home.value === null ? null : "before";
  signedIn.value = "no";
  liveConnection?.end();
  liveConnection = null;
}

/** Signing out deletes all data on the phone. */
export async function signOut(): Promise<boolean> {
  const result = await api.signOut();
  if (result.kind === "unreachable") return false;
  await forgetEverything();
  return true;
}

/** Deletes all data of the person from this device, once the server has ended the session. */
export async function forgetEverything(): Promise<void> {
  await store?.clear();
  location.replace("/"); // nothing stays in memory either
}

export async function startSession(keeperName: string): Promise<void> {
  if (home.value !== null && home.value.view.keeper.name !== keeperName) {
    await store?.clear(); // another person: start without the stored data, in memory too
    location.reload();
    return;
  }
  signedIn.value = "unknown";
  sessionEnd.value = null;
  await refreshHome();
  reconnectCount.value += 1; // parts of the page may have been refused before
}
