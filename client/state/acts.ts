import { signal } from "@preact/signals";
import type { FeederView, YardView } from "../../server/contract/api.ts";
import type { Cupboard } from "../kept/cupboard.ts";
import { oneSender } from "../kept/oneSender.ts";
import { sendShown } from "../kept/shown.ts";
import {
  askedOf,
  type FeederAct,
  fateOf,
  keptActs,
  sortOut,
  supersededBy,
  type WaitingAct,
  waitingKey,
  type YardAct,
} from "../kept/waiting.ts";
import { type ActView, api, paths } from "../reach/api.ts";
import { announce } from "./announce.ts";
import { acceptFeeders, findFeeder, noteLine, refreshHome, signedIn } from "./home.ts";
import { serverNow } from "./now.ts";
import { askForSync, takeAway } from "./screenNotices.ts";

/**
 * Everything the keeper does to a feeder goes through here: kept on the phone first, then sent. So a line that breaks in
 * the middle costs a repeat, never the act; its id makes the repeat harmless.
 */
export const waiting = signal<readonly WaitingAct[]>([]);
/** What was given up, and why: stays until the keeper has read it. */
export const givenUp = signal<readonly { readonly id: string; readonly words: string }[]>([]);

let cupboard: Cupboard | null = null;

export async function openActs(kept: Cupboard): Promise<void> {
  cupboard = kept;
  const flushSoon = () => {
    if (document.visibilityState !== "hidden") void flush();
  };
  // There is no background sync everywhere, so every sign of life is taken as a chance. Not every phone says when its line
  // is back (a page that was reloaded without one isn't told either), and a pause shouldn't wait for long: so it is tried anew.
  addEventListener("online", flushSoon);
  document.addEventListener("visibilitychange", flushSoon);
  setInterval(() => {
    if (waiting.value.length > 0 && flushing === null && signedIn.value !== "no") flushSoon();
  }, 3_000);
  await gather();
  await flush();
}

/** The worker beside this page has kept or sent something that was asked on a notice or here. */
export const lookForActs = () => void flush();

export type ActOutcome = "done" | "waiting" | "refused";

const newId = () => crypto.randomUUID?.() ?? randomId(); // randomUUID exists only over HTTPS
function randomId(): string {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((octet) => octet.toString(16).padStart(2, "0")).join("");
}

export function act(
  feeder: FeederView,
  asked: Pick<FeederAct, "kind" | "path" | "words"> & { readonly body: (id: string, at: string) => unknown },
): Promise<ActOutcome> {
  const id = newId();
  return keepAndSend({
    id,
    kind: asked.kind,
    feeder: feeder.id,
    feederName: feeder.name,
    path: asked.path,
    words: asked.words,
    body: asked.body(id, new Date(serverNow()).toISOString()),
    askedAt: Date.now(),
  });
}

/** Pauses or resumes all feeders of a yard until somebody says otherwise. */
export function actOnYard(yard: YardView, kind: YardAct["kind"], feeders: readonly FeederView[]): Promise<ActOutcome> {
  const id = newId();
  const order = kind === "pauseAll" ? "pause" : "resume";
  return keepAndSend({
    id,
    kind,
    yard: yard.id,
    yardName: yard.name,
    feeders: feeders.map((feeder) => feeder.id),
    path: paths.yardOrders(yard.id),
    words: `${order} all feeders`,
    body: { id, kind: order, until: null },
    askedAt: Date.now(),
  });
}

async function keepAndSend(newest: WaitingAct): Promise<ActOutcome> {
  const { id } = newest;
  for (const old of supersededBy(newest, waiting.value)) await letGo(old);
  await cupboard?.put(waitingKey(id), newest); // first of all: what isn't in the cupboard is taken for sent elsewhere
  if (!waiting.value.some((each) => each.id === id)) waiting.value = [...waiting.value, newest];
  await flush();
  if (waiting.value.some((each) => each.id === id)) {
    await askForSync(); // the page may be put away before the line is back
    announce(`${askedOf(newest)}: ${newest.words}, waiting for a connection.`);
    return "waiting";
  }
  return givenUp.value.some((each) => each.id === id) ? "refused" : "done";
}

let flushing: Promise<void> | null = null;
let again = false;

/** Sends what waits, the oldest first. One at a time: two flushes at once would only send things twice. */
async function flush(): Promise<void> {
  if (flushing !== null) {
    again = true;
    return flushing;
  }
  flushing = (async () => {
    try {
      do {
        again = false;
        await oneSender(sendAll);
      } while (again);
    } finally {
      flushing = null; // in the same breath as the last look at `again`, or a flush asked for in between were lost
    }
  })();
  return flushing;
}

async function sendAll(): Promise<void> {
  await gather();
  const { live, expired } = sortOut(waiting.value, Date.now());
  for (const act of expired) {
    if (await sentElsewhere(act)) continue;
    await giveUp(act, `${askedOf(act)}: “${act.words}” could not be sent in time and was let go. Nothing has changed.`);
  }
  for (const act of live) {
    if (await sentElsewhere(act)) continue;
    const askedAt = serverNow();
    const answer = await api.act(act.path, act.body);
    noteLine(answer);
    const status = answer.kind === "problem" ? answer.problem.status : 0;
    switch (fateOf(answer.kind, status)) {
      case "done":
        await letGo(act);
        if (answer.kind === "ok") accept(act, answer.value, askedAt);
        break;
      case "drop":
        await giveUp(
          act,
          `${askedOf(act)}: “${act.words}” was not accepted. ${answer.kind === "problem" ? answer.problem.detail : ""}`,
        );
        break;
      case "keep":
        return; // whatever stands in the way stands in the way of the rest too
    }
    if (signedIn.value === "no") return;
  }
  if (cupboard !== null) await sendShown(cupboard, Date.now());
}

function accept(act: WaitingAct, view: ActView, askedAt: number): void {
  const isYards = "leftOut" in view;
  acceptFeeders(isYards ? view.feeders : [view], askedAt);
  const missed = isYards && "yard" in act ? view.leftOut.filter((id) => act.feeders.includes(id)) : [];
  if (missed.length === 0) return;
  const names = missed.map((id) => findFeeder(id)?.feeder.name ?? id).join(", ");
  const words = `${askedOf(act)}: “${act.words}” left out ${names}, on the bench or put away by now.`;
  givenUp.value = [...givenUp.value, { id: `${act.id} left out`, words }];
  announce(words);
}

/** What was answered on a notice while this page was away, or is kept from an earlier opening, waits here too. */
async function gather(): Promise<void> {
  if (cupboard === null) return;
  const known = new Set(waiting.value.map(({ id }) => id));
  const others = (await keptActs(cupboard)).filter(({ id }) => !known.has(id));
  if (others.length > 0) waiting.value = [...others, ...waiting.value];
}

/** Another window of the same browser may have sent it meanwhile: then it is gone from the phone, and no loss. */
async function sentElsewhere(act: WaitingAct): Promise<boolean> {
  if (cupboard === null || (await cupboard.get(waitingKey(act.id))) !== undefined) return false;
  await letGo(act);
  void refreshHome(); // what came of it is known there, and that there is a line again
  return true;
}

async function giveUp(act: WaitingAct, words: string): Promise<void> {
  givenUp.value = [...givenUp.value, { id: act.id, words }];
  announce(words);
  await letGo(act);
}

async function letGo(act: WaitingAct): Promise<void> {
  waiting.value = waiting.value.filter((each) => each.id !== act.id);
  await cupboard?.remove(waitingKey(act.id));
  if (act.notice !== undefined) await takeAway(act.notice.tag); // "waits for a connection" is no longer so
}

export const withdraw = (act: WaitingAct) => letGo(act);

export function haveRead(id: string): void {
  givenUp.value = givenUp.value.filter((each) => each.id !== id);
}
