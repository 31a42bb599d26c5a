import { computed, signal } from "@preact/signals";
import type { FeederView, FoodView, HomeView, HopperView, MeView, YardView } from "../../server/contract/api.ts";
import type { Cupboard } from "../kept/cupboard.ts";
import { askUntilAnswered, longestHiddenMs, longestVisibleMs, nextTryMs, retryAfterOf } from "../reach/again.ts";
import { type Answer, api } from "../reach/api.ts";
import { type LiveConnection, type LiveEars, listen } from "../reach/live.ts";
import { newsWords } from "../words/alarm.ts";
import { announce } from "./announce.ts";
import { learnServerTime, now, serverNow } from "./now.ts";
import { takeAwayStale } from "./screenNotices.ts";

/** What is known of the keeper's yards, and how fresh it is. */
export interface KnownHome {
  readonly view: HomeView;
  readonly asOf: number; // ms since the epoch, by the server's clock
}

export const home = signal<KnownHome | null>(null);
export const signedIn = signal<"unknown" | "yes" | "no">("unknown");
/** `cut` once the server could not be reached; `live` while its socket is open. */
export const line = signal<"unknown" | "live" | "quiet" | "cut">("unknown");
/**
 * How the last session ended: while this page was open (what stands in its forms is still there), or before, with what is
 * known of it still on the phone.
 */
export const signedOut = signal<"here" | "before" | null>(null);
/** Grows when the server is back after it was away: whatever was missed meanwhile is asked for anew. */
export const returns = signal(0);
/** Grows when a phone of this person was added or removed, or that may have been missed. */
export const phoneChanges = signal(0);
/** The home could not be shown because of this; null while all is well. */
export const homeProblem = signal<string | null>(null);

export const yards = computed<readonly YardView[]>(() => home.value?.view.yards ?? []);
export const foods = computed<readonly FoodView[]>(() => home.value?.view.foods ?? []);

export function findFeeder(id: string): { readonly feeder: FeederView; readonly yard: YardView } | null {
  for (const yard of yards.value) {
    const feeder = yard.feeders.find((each) => each.id === id);
    if (feeder !== undefined) return { feeder, yard };
  }
  return null;
}

let cupboard: Cupboard | null = null;
const homeKey = "home";

/**
 * Shows what the phone remembers at once, then asks the server.
 * @param beside what is to stand on the first screen from the beginning, so that nothing moves when it comes; given up after
 * a moment
 */
export async function openHome(kept: Cupboard, beside: Promise<unknown> = Promise.resolve()): Promise<void> {
  cupboard = kept;
  const remembered = await kept.get<KnownHome>(homeKey);
  if (remembered !== undefined && home.value === null) home.value = { ...remembered, view: complete(remembered.view) };
  const look = () => {
    if (document.visibilityState !== "hidden" && signedIn.value !== "no") void refreshHome();
  };
  document.addEventListener("visibilitychange", look); // much may have happened in the pocket
  addEventListener("online", look);
  const patience = new Promise((resolve) => setTimeout(resolve, besideMaxMs));
  await refreshHome(home.value === null ? Promise.race([beside, patience]) : undefined);
}
/** Later than this, what is known is shown without it. Our choice. */
const besideMaxMs = 1_000;

/** What an earlier build kept on this phone lacks what views have been given since. */
const complete = (kept: HomeView): HomeView => ({
  ...kept,
  keeper: { ...{ id: "", mail: null, canMail: false }, ...(kept.keeper as Partial<MeView> & { name: string }) },
  foods: (kept as Partial<HomeView>).foods ?? [],
  storage: (kept as Partial<HomeView>).storage ?? null,
  yards: kept.yards.map((yard) => ({
    ...{ escalateMinutes: 15, role: "keeper", people: 1, calls: [], unusableZone: null, damaged: [] },
    ...(yard as Omit<YardView, "role"> & Partial<YardView>),
    feeders: yard.feeders.map((feeder) => ({
      ...feeder,
      blindSpots: (feeder as Partial<FeederView>).blindSpots ?? [],
      wellUntil: (feeder as Partial<FeederView>).wellUntil ?? null,
      asks: (feeder as Partial<FeederView>).asks ?? [],
      cleanedAt: (feeder as Partial<FeederView>).cleanedAt ?? null,
      hopper: { ...feeder.hopper, portionWords: (feeder.hopper as Partial<HopperView>).portionWords ?? "" },
    })),
  })),
});

let refreshing = 0;
let stopTrying: () => void = () => undefined;

/** Asks anew, and again by itself where the server has a problem. A newer look takes the place of one that waits. */
export function refreshHome(beside?: Promise<unknown>): Promise<void> {
  stopTrying();
  return new Promise((resolve) => {
    stopTrying = askUntilAnswered(async () => {
      refreshing += 1;
      const answer = await api.home();
      await beside;
      noteLine(answer);
      refreshing -= 1;
      if (answer.kind === "ok") acceptHome(answer.value);
      else if (answer.kind === "problem") homeProblem.value = answer.problem.detail;
      resolve();
      return answer;
    });
  });
}

/** Every answer tells something about the line and about the session. */
export function noteLine(answer: Answer<unknown>): void {
  if (answer.kind === "unreachable") {
    line.value = "cut";
    lookAgainLater(retryAfterOf(answer));
    return;
  }
  const isBack = line.value === "cut";
  if (line.value !== "live") line.value = "quiet";
  if (answer.kind === "signedOut") leave();
  else if (answer.kind === "ok" && signedIn.value !== "no") signedIn.value = "yes";
  if (isBack) comeBack();
}

// --- while the server can't be reached ------------------------------------------------------------------------------

let nextLook: ReturnType<typeof setTimeout> | undefined;
let failures = 0;

function lookAgainLater(retryAfterMs: number): void {
  if (nextLook !== undefined) return;
  const longestMs = document.visibilityState === "hidden" ? longestHiddenMs : longestVisibleMs;
  nextLook = setTimeout(() => void lookAgain(), nextTryMs(failures, Math.random(), longestMs, retryAfterMs));
  failures += 1;
}

async function lookAgain(): Promise<void> {
  clearTimeout(nextLook);
  nextLook = undefined;
  noteLine(await api.probe());
}

/** What was missed meanwhile is fetched, and the live connection begun anew. */
function comeBack(): void {
  clearTimeout(nextLook);
  nextLook = undefined;
  failures = 0;
  returns.value += 1;
  connection?.connectNow();
  if (refreshing === 0 && signedIn.value !== "no") void refreshHome();
}

export function acceptHome(view: HomeView): void {
  learnServerTime(view.serverTime);
  homeProblem.value = null;
  signedIn.value = "yes";
  const before = new Map(yards.value.flatMap((yard) => yard.feeders).map((feeder) => [feeder.id, feeder]));
  const news = view.yards.flatMap((yard) => yard.feeders).map((feeder) => tell(before.get(feeder.id), feeder));
  announce(news.filter((words) => words !== "").join(" "));
  settle({
    ...view,
    yards: view.yards.map((yard) => ({
      ...yard,
      feeders: yard.feeders.map((feeder) => newer(before.get(feeder.id), feeder)),
    })),
  });
  attend();
  tidyScreen(
    view.yards.flatMap((yard) => yard.feeders),
    Date.parse(view.serverTime),
  );
}

/**
 * Puts one feeder's newer state in its place. Answers can overtake each other, so an older revision changes nothing.
 * @param askedAt ms since the epoch, the server's clock: nothing that happened later can be missed in it
 */
export const acceptFeeder = (feeder: FeederView, askedAt = 0): void => acceptFeeders([feeder], askedAt);

/** The same for several at once, told to a screen reader in one piece. */
export function acceptFeeders(feeders: readonly FeederView[], askedAt: number): void {
  const known = home.value;
  if (known === null) return;
  const before = new Map(feeders.map(({ id }) => [id, findFeeder(id)?.feeder]));
  if ([...before.values()].includes(undefined)) void refreshHome(); // a feeder that this page hasn't met yet
  const news = feeders.filter(({ id, revision }) => (before.get(id)?.revision ?? Infinity) <= revision);
  if (news.length === 0) return;
  const words = news.map((feeder) => tell(before.get(feeder.id), feeder));
  announce(words.filter((each) => each !== "").join(" "));
  const newest = new Map(news.map((feeder) => [feeder.id, feeder]));
  settle({
    ...known.view,
    yards: known.view.yards.map((yard) => ({
      ...yard,
      feeders: yard.feeders.map((each) => newest.get(each.id) ?? each),
    })),
  });
  tidyScreen(news, askedAt);
}

/** Notices that stand on the phone's screen, and for which nothing stands here any more, go. */
const tidyScreen = (feeders: readonly FeederView[], asOf: number) => {
  takeAwayStale(feeders, asOf).catch((cause: unknown) => console.warn("The screen could not be tidied.", cause));
};

const newer = (before: FeederView | undefined, feeder: FeederView) =>
  before !== undefined && before.revision > feeder.revision ? before : feeder;
const tell = (before: FeederView | undefined, feeder: FeederView) =>
  before === undefined ? "" : newsWords(before, feeder);

function settle(view: HomeView): void {
  const known = { view, asOf: serverNow() };
  now.value = known.asOf;
  home.value = known;
  cupboard?.put(homeKey, known).catch((cause: unknown) => console.warn("The last state could not be kept.", cause));
}

// --- the live line -------------------------------------------------------------------------------------------------

let connection: LiveConnection | null = null;

/** Listens for changes from the first sign-in on. */
function attend(): void {
  if (connection !== null) return;
  let missed = false;
  connection = listen({
    heard,
    opened: () => {
      line.value = "live";
      // The first opening follows a fresh fetch; any later one may have missed something.
      if (missed) {
        void refreshHome();
        phoneChanges.value += 1;
      }
      missed = true;
    },
    closed: () => {
      if (line.value === "live") line.value = "quiet";
      // Says whether the server is gone, or the session, or only the socket. Once it is gone, it is looked for already.
      if (line.value !== "cut") void refreshHome();
    },
    unanswered: () => {
      line.value = "cut"; // not known to be so, but no longer known not to be
      void lookAgain();
    },
  });
}

const changed = new Map<string, number | null>();
let gathering: ReturnType<typeof setTimeout> | undefined;
const gatherMs = 150;

/** Hints come in bursts (one report changes a feeder several times): fetch once for all of them. */
function heard(message: Parameters<LiveEars["heard"]>[0]): void {
  if (message.kind === "phones") {
    phoneChanges.value += 1;
    return;
  }
  if (message.feeder === null) changed.set("", null);
  else changed.set(message.feeder, message.revision);
  clearTimeout(gathering);
  gathering = setTimeout(() => {
    const hints = [...changed];
    changed.clear();
    if (hints.some(([feeder]) => feeder === "" || findFeeder(feeder) === null)) void refreshHome();
    else for (const [feeder, revision] of hints) void follow(feeder, revision);
  }, gatherMs);
}

async function follow(id: string, revision: number | null): Promise<void> {
  const known = findFeeder(id)?.feeder;
  if (known !== undefined && revision !== null && known.revision >= revision) return;
  const askedAt = serverNow();
  const answer = await api.feeder(id);
  noteLine(answer);
  if (answer.kind === "ok") acceptFeeder(answer.value, askedAt);
  else if (answer.kind === "problem") await refreshHome(); // removed meanwhile, most likely
}

// --- coming and going ----------------------------------------------------------------------------------------------

/** The session is over: stop listening. What the phone keeps stays, for the same keeper's return. */
function leave(): void {
  if (signedIn.value !== "no")
    signedOut.value = signedIn.value === "yes" ? "here" : home.value === null ? null : "before";
  signedIn.value = "no";
  connection?.end();
  connection = null;
}

/** Signing out by hand leaves nothing on the phone. */
export async function signOut(): Promise<boolean> {
  const answer = await api.signOut();
  if (answer.kind === "unreachable") return false;
  await forgetEverything();
  return true;
}

/** Nothing of whoever was signed in stays on this device, once the server has ended the session. */
export async function forgetEverything(): Promise<void> {
  await cupboard?.clear();
  location.replace("/"); // nothing stays in memory either
}

export async function cameIn(keeperName: string): Promise<void> {
  if (home.value !== null && home.value.view.keeper.name !== keeperName) {
    await cupboard?.clear(); // somebody else's notebook: start on an empty page, in memory too
    location.reload();
    return;
  }
  signedIn.value = "unknown";
  signedOut.value = null;
  await refreshHome();
  returns.value += 1; // parts of the page may have been refused meanwhile
}
