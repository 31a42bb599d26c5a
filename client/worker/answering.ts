import type { Cupboard } from "../kept/cupboard.ts";
import { expiresAt, fateOf, keptActs, sortOut, supersededBy, type WaitingAct, waitingKey } from "../kept/waiting.ts";
import { type ActView, type Answer, api, paths } from "../reach/api.ts";
import { whenWords } from "../words/clock.ts";
import type { NoticeAnswer, NoticeData } from "./pushNotice.ts";

/** A notice as it stood on the screen when it was answered. */
interface Answered {
  readonly title: string;
  readonly tag: string;
  readonly data: NoticeData;
}

/**
 * What a tap on a notice's button asks for, as an act like any that a page asks for: kept first, then sent, and let go when
 * the keeper would no longer mean it. Null where the notice doesn't say whom it is about.
 */
export function actFrom(action: string, { title, tag, data }: Answered, id: string, now: number): WaitingAct | null {
  const { feeder, fault, raisedAt, calledAs, navigate } = data;
  if (feeder === null) return null;
  const { name, what } = partsOf(title);
  const common = { id, feeder, feederName: name, askedAt: now, notice: { title, tag, path: navigate } };
  switch (action as NoticeAnswer) {
    case "acknowledge":
      if (fault === null) return null;
      return {
        ...common,
        kind: "acknowledge",
        path: paths.acknowledge(feeder, fault),
        words: what === "" ? "acknowledge" : `acknowledge ${what}`,
        body: { id, ...(raisedAt === null ? {} : { raisedAt }), ...(calledAs === null ? {} : { calledAs }) },
      };
    case "pause":
      return {
        ...common,
        kind: "pause",
        path: paths.orders(feeder),
        words: "pause until resumed",
        body: { id, kind: "pause", until: null },
      };
  }
  return null; // a button that this worker didn't make
}

/** "Larch: tray jammed" is a name and what is wrong there. */
function partsOf(title: string) {
  const at = title.indexOf(": ");
  return at < 0 ? { name: title, what: "" } : { name: title.slice(0, at), what: title.slice(at + 2) };
}

/** Keeps the act with the others, in place of those that it makes pointless. */
export async function keepAct(cupboard: Cupboard, act: WaitingAct): Promise<void> {
  await cupboard.put(waitingKey(act.id), act);
  for (const old of supersededBy(act, await keptActs(cupboard))) await cupboard.remove(waitingKey(old.id));
}

/** How far an act has come, for the notice that takes the answered one's place. */
export type Progress =
  | { readonly kind: "done" }
  | { readonly kind: "waits" }
  | { readonly kind: "signedOut" }
  | { readonly kind: "refused"; readonly words: string }
  | { readonly kind: "tooLate" }
  | { readonly kind: "raisedAnew" }
  /** An open page has sent it, and tells there what came of it. */
  | { readonly kind: "byPage" };

/** An act that was met while sending, and how far it came. */
export interface Met {
  readonly act: WaitingAct;
  readonly progress: Progress;
}

/** Whether nothing more will become of it. */
export const isOver = ({ kind }: Progress) => kind !== "waits" && kind !== "signedOut";

/**
 * Sends what waits, the oldest first, and says of each act how far it came. Stops at the first that can't get through:
 * whatever stands in its way stands in the way of the rest too. What a page asked for and what came to nothing is left for
 * that page to find and to tell.
 */
export async function sendKept(
  cupboard: Cupboard,
  now: number,
  post: (path: string, body: unknown) => Promise<Answer<ActView>> = api.act,
): Promise<readonly Met[]> {
  const met: Met[] = [];
  const settle = async (act: WaitingAct, progress: Progress) => {
    met.push({ act, progress });
    const isForPage = act.notice === undefined && progress.kind !== "done";
    if (isOver(progress) && !isForPage) await cupboard.remove(waitingKey(act.id));
  };
  const { live, expired } = sortOut(await keptActs(cupboard), now);
  for (const act of expired) await settle(act, { kind: "tooLate" });
  let inTheWay: Progress | null = null;
  for (const act of live) {
    const progress: Progress = inTheWay ?? progressOf(act, await post(act.path, act.body));
    await settle(act, progress);
    if (!isOver(progress)) inTheWay = progress;
  }
  return met;
}

function progressOf(act: WaitingAct, answer: Answer<ActView>): Progress {
  switch (fateOf(answer.kind, answer.kind === "problem" ? answer.problem.status : 0)) {
    case "done":
      return { kind: answer.kind === "ok" && asksAgain(act, answer.value) ? "raisedAnew" : "done" };
    case "keep":
      return { kind: answer.kind === "signedOut" ? "signedOut" : "waits" };
    case "drop":
      return { kind: "refused", words: answer.kind === "problem" ? answer.problem.detail : "" };
  }
}

/** The answer was meant for an earlier raise: the server took it for that one, and the alarm waits for another. */
const asksAgain = (act: WaitingAct, view: ActView) =>
  act.kind === "acknowledge" &&
  "alarms" in view &&
  view.alarms.some(({ fault, phase }) => phase === "unacknowledged" && paths.acknowledge(view.id, fault) === act.path);

/** What the keeper reads in the answered notice's place. */
export function progressWords(act: WaitingAct, progress: Progress, now: number, zone: string): string {
  switch (progress.kind) {
    case "done":
      return act.kind === "pause"
        ? "Pause asked. Wait for the feeder's own word before you rely on it."
        : "Acknowledged.";
    case "waits":
      return `Waits for a connection; let go at ${whenWords(new Date(expiresAt(act)).toISOString(), now, zone)} if there is none.`;
    case "signedOut":
      return "Could not: sign in first. Open Pieward, and it is sent then.";
    case "refused":
      return `Could not: ${progress.words === "" ? "the server did not accept it." : progress.words}`;
    case "byPage":
      return "Sent. Pieward stands open and says there what came of it.";
    case "raisedAnew":
      return "Too late: it has come again or grown worse since. Look at it anew.";
    case "tooLate":
      return "Too late: it could not be sent in time and was let go. Nothing has changed.";
  }
}
