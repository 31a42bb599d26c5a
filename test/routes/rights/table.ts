import type { Role } from "../../../server/contract/api.ts";
import { benchExample } from "../../support/benchExample.ts";
import { feedingExample } from "../../support/feedingExample.ts";
import { programmeChangeExample } from "../../support/programmeChangeExample.ts";

/**
 * Who may use which route: the one expectation of `rights.test.ts`, which walks every route that Fastify knows and fails
 * for one that has no row here. To add a route, add a row:
 *
 *     "POST /api/v1/yards/:yard/things": keepers({ name: "a thing" }),
 *
 * `:name` in a path, or as a value in a body, is replaced by an id of the yard of the request; `world.ts` knows the ids.
 */
export interface RouteRights {
  readonly who: AllowedCaller;
  readonly body?: object;
  readonly query?: string; // in the address
  /** The status for those who may use it; left out: some 2xx. It is no 2xx where the row's request brings no true secret. */
  readonly passes?: number;
  /** What a signed-in person of another yard is answered. */
  readonly foreign?: number;
  /** An export key of a person who may use it opens it too. */
  readonly exportKeyToo?: true;
  /** What each allowed request needs of its own, since it is gone or changed afterwards. */
  readonly fresh?: readonly ("caller" | "feeder" | "yard" | "invite" | "self")[]; // `self`: `:person` is the caller
}
export type AllowedCaller =
  | "anyone" // or with the secret that the body or the path names
  | "signedIn" // it is about the caller's own things only
  | "keeperOfAny"
  | "feeder" // with its own key
  | readonly Role[]; // of the yard that the request is about

type Rest = Omit<RouteRights, "who" | "body">;
const row =
  (who: AllowedCaller) =>
  (body?: object, rest: Rest = {}): RouteRights => ({ who, ...(body === undefined ? {} : { body }), ...rest });
const anyone = row("anyone");
const signedIn = row("signedIn");
const keepersOfAny = row("keeperOfAny");
const feeders = row("feeder");
const people = row(["keeper", "helper"]);
const keepers = row(["keeper"]);

const phone = (endpoint: string) => ({ endpoint, keys: { p256dh: "B".repeat(87), auth: "a".repeat(22) } });
const account = { name: ":somebody", passphrase: "nine wet jackdaws on a gate" };

const forgedPasskey = {
  ...{ id: "AAAA", rawId: "AAAA", type: "public-key" },
  response: { clientDataJSON: "AAAA", authenticatorData: "AAAA", signature: "AAAA" },
};
const newPasskey = {
  label: "Phone",
  credential: { ...forgedPasskey, response: { clientDataJSON: "AAAA", attestationObject: "AAAA" } },
};
const wrong = { passphrase: "nobody's passphrase at all" };

export const rightsTable: Readonly<Record<string, RouteRights>> = {
  "GET /": anyone(),
  "GET /*": anyone(undefined, { passes: 404 }), // the client's files, by their names
  "GET /api/v1/health": anyone(),
  "GET /api/docs": anyone(),
  "GET /api/docs/": anyone(),
  "GET /api/docs/page.css": anyone(),
  "GET /api/docs/json": anyone(),

  "POST /api/v1/stills": feeders(undefined, { passes: 415 }), // without a picture
  "POST /api/v1/report": feeders({ boot: "boot-of-now", sentUptimeMs: 60_000 }),
  "GET /api/v1/link": feeders(undefined, { passes: 426 }), // it is a socket; see the frames

  "POST /api/v1/first-sign-in": anyone({ token: ":token", ...account }, { passes: 401 }),
  "POST /api/v1/session": anyone(account, { passes: 401 }),
  "POST /api/v1/reset": anyone({ token: ":token", passphrase: account.passphrase }, { passes: 401 }),
  "POST /api/v1/session/passkey/options": anyone(),
  "POST /api/v1/session/passkey": anyone({ credential: forgedPasskey }, { passes: 401 }),
  "POST /api/v1/join": anyone({ token: ":token", ...account }, { passes: 404 }),
  "POST /api/v1/notifications/:item/display-receipt": anyone(undefined, { passes: 404 }),
  "GET /api/v1/session": signedIn(),
  "DELETE /api/v1/session": anyone(undefined, { fresh: ["caller"] }),

  "GET /api/v1/me": signedIn(),
  "PATCH /api/v1/me": signedIn({ email: null }),
  "POST /api/v1/me/email/test": signedIn(undefined, { passes: 409 }), // after the row above there is no address
  "POST /api/v1/me/passphrase": signedIn({ old: wrong.passphrase, passphrase: account.passphrase }, { passes: 400 }),
  // A session, a passkey and a mistaken passphrase of somebody else's.
  "GET /api/v1/me/sessions": signedIn(),
  "DELETE /api/v1/me/sessions": signedIn(),
  "DELETE /api/v1/me/sessions/:session": signedIn(undefined, { passes: 404 }),
  "GET /api/v1/me/export-keys": signedIn(),
  "POST /api/v1/me/export-keys": signedIn({ name: "A table", days: 90, ...wrong }, { passes: 400 }),
  "DELETE /api/v1/me/export-keys/:exportKey": signedIn(undefined, { passes: 404 }),
  "GET /api/v1/me/passkeys": signedIn(),
  "POST /api/v1/me/passkeys/options": signedIn({}, { fresh: ["caller"] }),
  "POST /api/v1/me/passkeys": signedIn(newPasskey, { passes: 400 }),
  "PATCH /api/v1/me/passkeys/:passkey": signedIn({ label: "Mine now" }, { passes: 404 }),
  "DELETE /api/v1/me/passkeys/:passkey": signedIn(undefined, { passes: 404, fresh: ["caller"] }),
  "POST /api/v1/me/confirm/options": signedIn(undefined, { passes: 409, fresh: ["caller"] }), // they have none
  "POST /api/v1/me/confirm": signedIn(wrong, { passes: 403 }),
  "POST /api/v1/me/remove": signedIn(wrong, { passes: 400 }),
  "GET /api/v1/phones": signedIn(),
  // Another person's endpoint is refused, and stays theirs.
  "POST /api/v1/phones": signedIn(phone("https://push.example/some-new-phone"), { passes: 201, fresh: ["caller"] }),
  "PUT /api/v1/phones": signedIn({ ...phone("https://push.example/stolen"), replaces: ":endpoint" }, { passes: 404 }),
  "POST /api/v1/phones/permission": signedIn({ endpoint: ":endpoint", allowed: false }, { passes: 404 }),
  "POST /api/v1/phones/forget": signedIn({ endpoint: ":endpoint" }),
  "POST /api/v1/phones/test": signedIn(),
  "GET /api/v1/live": signedIn(undefined, { passes: 404 }), // it is a socket; see the frames

  "GET /api/v1/home": signedIn(),
  "POST /api/v1/practice": keepersOfAny(),
  "POST /api/v1/practice/fault": keepersOfAny({ fault: "trayJammed" }, { passes: 409 }),
  "POST /api/v1/practice/programme": keepersOfAny({ do: "stop" }),
  "DELETE /api/v1/practice": keepersOfAny(),

  "POST /api/v1/yards": keepersOfAny({ name: "Alder Croft, the meadow", zone: "UTC" }, { passes: 201 }),
  "POST /api/v1/yards/:yard/remove": keepers({ name: "Alder Croft for once" }, { fresh: ["yard"] }),
  "PATCH /api/v1/yards/:yard": keepers({ digestWanted: false }),
  "GET /api/v1/yards/:yard/digest": people(undefined, { passes: 404 }), // there has been none yet
  "GET /api/v1/yards/:yard/alarm-rates": people(),
  "POST /api/v1/yards/:yard/orders": people({ id: "pause-of-a-yard", kind: "pause" }),
  "POST /api/v1/yards/:yard/disease-notice": keepers({ id: "lift-the-notice", inForce: false }),
  "GET /api/v1/yards/:yard/notes": people(),
  "POST /api/v1/yards/:yard/notes": people({ id: "note-0001", text: "a jay" }),
  "PATCH /api/v1/yards/:yard/notes/:note": people({ text: "two jays" }, { passes: 404 }),
  "DELETE /api/v1/yards/:yard/notes/:note": people(undefined, { passes: 404 }),
  "POST /api/v1/yards/:yard/notes/:note/photos": people(undefined, { passes: 404 }),
  "GET /api/v1/yards/:yard/pictures/:picture": people(undefined, { passes: 404 }),
  "DELETE /api/v1/yards/:yard/pictures/:picture": people(undefined, { passes: 404 }),
  "GET /api/v1/yards/:yard/stills": people(),
  "PATCH /api/v1/yards/:yard/stills/:still": people({ starred: true }, { passes: 404 }),
  "DELETE /api/v1/yards/:yard/stills/:still": people(undefined, { passes: 404 }),
  "GET /api/v1/yards/:yard/stills/:still/picture": people(undefined, { passes: 404 }),
  "GET /api/v1/yards/:yard/training": people(),
  "GET /api/v1/yards/:yard/training/report": people(),
  "GET /api/v1/yards/:yard/training/export": people(undefined, { query: "?table=days", exportKeyToo: true }),
  "GET /api/v1/yards/:yard/training/export/archive": people(undefined, { exportKeyToo: true }),
  "GET /api/v1/yards/:yard/training/export/dictionary": people(undefined, { exportKeyToo: true }),
  "POST /api/v1/yards/:yard/training/import": keepers(undefined, { passes: 400 }), // without an archive
  "POST /api/v1/yards/:yard/training/changes": keepers(programmeChangeExample),
  "POST /api/v1/yards/:yard/training/changes/:change/undo": keepers(undefined, { passes: 404 }),
  "GET /api/v1/yards/:yard/people": people(),
  "PATCH /api/v1/yards/:yard/people/:person": people({ urgentBreaks: true }, { fresh: ["self"] }),
  "DELETE /api/v1/yards/:yard/people/:person": people(undefined, { fresh: ["caller", "self"] }),
  "POST /api/v1/yards/:yard/invites": keepers({ role: "helper" }),
  "DELETE /api/v1/yards/:yard/invites/:invite": keepers(undefined, { fresh: ["invite"] }),

  "POST /api/v1/feeders": keepers({ yard: ":yard", name: "Larch" }, { foreign: 400 }),
  "GET /api/v1/feeders/:feeder": people(),
  "PATCH /api/v1/feeders/:feeder": keepers({ warnAheadDays: 3 }),
  "DELETE /api/v1/feeders/:feeder": keepers(undefined, { fresh: ["feeder"] }),
  "POST /api/v1/feeders/:feeder/key": keepers(undefined, { fresh: ["feeder"] }),
  "GET /api/v1/feeders/:feeder/day": people(),
  "GET /api/v1/feeders/:feeder/log": people(),
  "GET /api/v1/feeders/:feeder/plan": people(),
  "POST /api/v1/feeders/:feeder/plan/preview": keepers(feedingExample),
  "POST /api/v1/feeders/:feeder/plan/ration": keepers({
    birds: [{ species: "magpie", count: 2 }],
    food: "peanutHalves",
  }),
  "GET /api/v1/feeders/:feeder/bench": people(),
  "POST /api/v1/feeders/:feeder/bench": keepers(benchExample, { fresh: ["feeder"] }),
  "POST /api/v1/feeders/:feeder/settings/comparison": keepers({ settings: { warnAheadDays: 3 } }),
  "GET /api/v1/feeders/:feeder/history": people(undefined, {
    query: "?from=2026-01-15T00:00:00Z&to=2026-01-16T00:00:00Z",
  }),
  "GET /api/v1/feeders/:feeder/portions": people(undefined, {
    query: "?from=2026-01-15T00:00:00Z&to=2026-01-16T00:00:00Z",
  }),
  "POST /api/v1/feeders/:feeder/refills": people({ id: "refill-0001", what: { kind: "filled" } }),
  "POST /api/v1/feeders/:feeder/cleaned": people(),
  "POST /api/v1/feeders/:feeder/orders": people({ id: "pause-0001", kind: "pause" }),
  "POST /api/v1/feeders/:feeder/alarms/:fault/acknowledge": people(),
  "POST /api/v1/feeders/:feeder/alarms/:fault/reset": people(),
  "POST /api/v1/feeders/:feeder/alarms/:fault/shelve": people({ until: "2026-01-16T09:00:00Z" }),
  "POST /api/v1/feeders/:feeder/alarms/:fault/out-of-service": keepers({ reason: "the winter is over" }),
  "POST /api/v1/feeders/:feeder/alarms/:fault/return-to-service": keepers(),
};
