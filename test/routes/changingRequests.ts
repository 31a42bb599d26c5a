import { reportExample } from "../../server/contract/reportExample.ts";
import type { PracticeRunner } from "../../server/ports.ts";
import { benchExample } from "../support/benchExample.ts";
import { feedingExample } from "../support/feedingExample.ts";
import { programmeChangeExample } from "../support/programmeChangeExample.ts";
import { recordExample } from "../support/recordExample.ts";

/** Each route that changes something, with a request that changes what `pictureOf` shows. */

export interface ChangingRequest {
  readonly route: string; // as the documentation names it
  readonly body?: object;
  /** The body is a picture. */
  readonly picture?: true;
  /** The body is this text, of no type. */
  readonly text?: string;
  /** Sent after it as if the two were one change, to imitate a split transaction. */
  readonly andThen?: object;
  /** Which prepared database it starts from; left out: "usual". */
  readonly from?: Start;
  /** Who sends it; left out: the keeper. */
  readonly as?: "signedOut" | "feeder";
  /** The status of the answer to a repeat, where it was done already; left out: the same as the first time. */
  readonly again?: number;
  /** Who must be able to sign in after it, as `pictureOf` shows. */
  readonly signsIn?: { readonly name: string; readonly passphrase: string };
  /** Whether the old key is still accepted is checked last. */
  readonly changesKey?: true;
  /** No route shows it. */
  readonly unseen?: true;
  /** How many commits it has; left out: at least one. */
  readonly commits?: 0;
}

/**
 * `noAccount`: the server has no account. `usual`: two people, two feeders, one of them with a jammed tray. `practising`: the same
 * with a practice yard.
 */
export type Start = "noAccount" | "usual" | "practising";

const passphrase = "seven wet crows count copper kettles";
const keys = { p256dh: "B".repeat(87), auth: "a".repeat(22) };

/** A name with a colon is replaced by an id of the prepared database: `:yard`, `:feeder`, `:person`, `:invite`, `:firstSignIn`, `:item`, `:reset`, `:session`, `:exportKey`, `:inviteToken`, `:picture`, `:still`. */
export const changingRequests: readonly ChangingRequest[] = [
  {
    route: "POST /api/v1/first-sign-in",
    from: "noAccount",
    as: "signedOut",
    body: { token: ":firstSignIn", name: "Ada", passphrase, zone: "Europe/Stockholm" },
    signsIn: { name: "Ada", passphrase },
  },
  {
    route: "POST /api/v1/session",
    as: "signedOut",
    body: { name: "Keeper", passphrase: "birds before breakfast" },
    unseen: true,
  },
  {
    route: "POST /api/v1/join",
    as: "signedOut",
    body: { token: ":inviteToken", name: "Cilla", passphrase },
    signsIn: { name: "Cilla", passphrase },
  },
  {
    route: "POST /api/v1/reset",
    as: "signedOut",
    body: { token: ":reset", passphrase },
    signsIn: { name: "Keeper", passphrase },
    again: 401,
  },
  { route: "POST /api/v1/session/passkey/options", as: "signedOut", commits: 0, unseen: true },
  { route: "DELETE /api/v1/session" },
  {
    route: "POST /api/v1/me/passphrase",
    body: { old: "birds before breakfast", passphrase },
    signsIn: { name: "Keeper", passphrase },
    again: 400,
  },
  { route: "DELETE /api/v1/me/sessions" },
  { route: "DELETE /api/v1/me/sessions/:session", again: 404 },
  {
    route: "POST /api/v1/me/export-keys",
    body: { name: "My table", days: 90, passphrase: "birds before breakfast" },
  },
  { route: "DELETE /api/v1/me/export-keys/:exportKey", again: 404 },
  { route: "POST /api/v1/me/remove", body: { passphrase: "birds before breakfast", withYards: true }, again: 401 },
  { route: "POST /api/v1/me/passkeys/options", body: {}, commits: 0, unseen: true },
  { route: "PATCH /api/v1/me", body: { email: "ada@alder-croft.example" } },
  { route: "POST /api/v1/me/email/test", commits: 0, unseen: true },
  { route: "POST /api/v1/phones", body: { endpoint: "https://push.example/new", keys, label: "Tablet" } },
  {
    route: "PUT /api/v1/phones",
    body: { replaces: "https://push.example/Pocket", endpoint: "https://push.example/2", keys },
  },
  { route: "POST /api/v1/phones/permission", body: { endpoint: "https://push.example/Pocket", allowed: false } },
  { route: "POST /api/v1/phones/test" },
  { route: "POST /api/v1/phones/forget", body: { endpoint: "https://push.example/Pocket" } },
  { route: "POST /api/v1/notifications/:item/display-receipt", as: "signedOut" },
  {
    route: "PATCH /api/v1/yards/:yard",
    body: { zone: "Europe/Helsinki", place: { latitudeDegrees: 59.5, longitudeDegrees: 17.8 }, escalateMinutes: 30 },
  },
  { route: "PATCH /api/v1/yards/:yard/people/:person", body: { role: "keeper", escalationOrder: 1 } },
  { route: "DELETE /api/v1/yards/:yard/people/:person", again: 404 },
  { route: "POST /api/v1/yards/:yard/invites", body: { role: "helper" } },
  { route: "DELETE /api/v1/yards/:yard/invites/:invite", again: 404 },
  { route: "POST /api/v1/yards", body: { name: "Alder Croft, the meadow", zone: "Europe/Stockholm" } },
  { route: "POST /api/v1/yards/:yard/remove", body: { name: "My yard" }, again: 404 },
  { route: "POST /api/v1/yards/:yard/orders", body: { id: "pause-0001", kind: "pause" } },
  { route: "POST /api/v1/yards/:yard/disease-notice", body: { id: "notice-0001", inForce: true } },
  { route: "POST /api/v1/yards/:yard/notes", body: { id: "note-0001", text: "a jay" } },
  { route: "PATCH /api/v1/yards/:yard/notes/:note", body: { text: "two jays" } },
  { route: "DELETE /api/v1/yards/:yard/notes/:note", again: 404 },
  { route: "POST /api/v1/yards/:yard/notes/:note/photos", picture: true },
  { route: "DELETE /api/v1/yards/:yard/pictures/:picture", again: 404 },
  { route: "PATCH /api/v1/yards/:yard/stills/:still", body: { starred: true, who: "a jay", brought: "a cap" } },
  { route: "DELETE /api/v1/yards/:yard/stills/:still", again: 404 },
  { route: "POST /api/v1/yards/:yard/training/changes", body: programmeChangeExample },
  { route: "POST /api/v1/yards/:yard/training/import", text: recordExample },
  { route: "POST /api/v1/yards/:yard/training/changes/:change/undo", again: 404 },
  { route: "POST /api/v1/feeders", body: { yard: ":yard", name: "Larch" } },
  { route: "PATCH /api/v1/feeders/:feeder", body: { warnAheadDays: 3, food: "suet" } },
  { route: "POST /api/v1/feeders/:feeder/plan/preview", body: feedingExample, ...{ commits: 0, unseen: true } },
  {
    route: "POST /api/v1/feeders/:feeder/plan/ration",
    body: { birds: [{ species: "magpie", count: 2 }], food: "peanutHalves" },
    ...{ commits: 0, unseen: true },
  },
  { route: "POST /api/v1/feeders/:feeder/bench", body: benchExample },
  {
    route: "POST /api/v1/feeders/:feeder/settings/comparison",
    body: { settings: { warnAheadDays: 3 } },
    ...{ commits: 0, unseen: true },
  },
  { route: "POST /api/v1/feeders/:feeder/key", changesKey: true },
  { route: "DELETE /api/v1/feeders/:feeder", again: 404 },
  { route: "POST /api/v1/feeders/:feeder/refills", body: { id: "refill-0001", what: { kind: "added", grams: 300 } } },
  { route: "POST /api/v1/feeders/:feeder/cleaned" },
  { route: "POST /api/v1/feeders/:feeder/orders", body: { id: "pause-0001", kind: "pause" } },
  { route: "POST /api/v1/feeders/:feeder/alarms/trayJammed/acknowledge", body: { id: "seen-0001" } },
  { route: "POST /api/v1/feeders/:feeder/alarms/trayJammed/reset", body: { id: "reset-0001" } },
  {
    route: "POST /api/v1/feeders/:feeder/alarms/trayJammed/shelve",
    body: { id: "shelve-0001", until: "2026-01-16T09:00:00Z" },
  },
  {
    route: "POST /api/v1/feeders/:feeder/alarms/trayJammed/out-of-service",
    body: { id: "out-0001", reason: "the tray is at the workshop" },
  },
  { route: "POST /api/v1/feeders/:feeder/alarms/trayJammed/return-to-service", body: { id: "back-0001" } },
  { route: "POST /api/v1/practice" },
  { route: "POST /api/v1/practice/fault", from: "practising", body: { fault: "trayJammed" }, commits: 0 },
  { route: "POST /api/v1/practice/programme", body: { do: "start" } },
  { route: "DELETE /api/v1/practice", from: "practising" },
  { route: "POST /api/v1/report", as: "feeder", body: reportExample },
  { route: "POST /api/v1/stills", as: "feeder", picture: true },
];

/**
 * Routes whose request a device that holds a passkey must make again each time; `passkeys.test.ts` sends them. Each changes one
 * row, but for the sign-in: it stores the passkey's counter, and then the session.
 */
export const deviceRoutes: readonly string[] = [
  "POST /api/v1/session/passkey",
  "POST /api/v1/me/passkeys",
  "PATCH /api/v1/me/passkeys/:passkey",
  "DELETE /api/v1/me/passkeys/:passkey",
  "POST /api/v1/me/confirm/options",
  "POST /api/v1/me/confirm",
];

/** A practice that is running, with feeders that report nothing. */
export function idlePracticeGround(): PracticeRunner {
  let running = false;
  let fault: ReturnType<PracticeRunner["state"]>["fault"] = "none";
  return {
    start: (feeders) => {
      running = feeders.length > 0;
    },
    stop: async () => {
      running = false;
      fault = "none";
    },
    setFault: (chosen) => {
      fault = chosen;
    },
    state: () => ({ running, fault }),
  };
}
