import views from "./generated/views.json" with { type: "json" };
import { passkeyAnswers } from "./passkeyAnswers.ts";
import type { JsonSchema } from "./schemaRows.ts";

/** What the keeper's routes are for and what they answer. A test requests each of them, and compares. */
export interface RouteNote {
  readonly summary: string;
  readonly status: number;
  readonly answer: JsonSchema | null; // null: nothing, or no JSON
}

type View = keyof typeof views;
const note = (summary: string, status: number, view: View | JsonSchema | null): RouteNote => ({
  summary,
  status,
  answer: typeof view === "string" ? (views[view] as JsonSchema) : view,
});

const text: JsonSchema = { type: "string" };
const signedIn: JsonSchema = {
  type: "object",
  properties: { keeper: { type: "object", properties: { name: text }, required: ["name"] } },
  required: ["keeper"],
};
const newKey: JsonSchema = { type: "object", properties: { key: text }, required: ["key"] };
const alarm = "/api/v1/feeders/:feeder/alarms/:fault";

export const routeNotes: Readonly<Record<string, RouteNote>> = {
  "POST /api/v1/first-sign-in": note("Become the first keeper, with the link that a new server prints", 200, signedIn),
  "POST /api/v1/session": note("Sign in", 200, signedIn),
  "GET /api/v1/session": note("Who is signed in", 200, signedIn),
  "DELETE /api/v1/session": note("Sign out", 204, null),
  "POST /api/v1/join": note("Join a yard with an invitation", 200, "JoinedView"),
  "POST /api/v1/reset": note(
    "Set a new passphrase, with the link that the server's command line prints",
    200,
    signedIn,
  ),
  "POST /api/v1/notifications/:item/display-receipt": note("A phone confirms that it showed a notification", 204, null),
  "GET /api/v1/home": note("All yards and feeders as they are now", 200, "HomeView"),
  "PATCH /api/v1/yards/:yard": note("Change a yard's settings", 200, "HomeView"),
  "POST /api/v1/practice": note("Start the practice feeders", 200, "HomeView"),
  "DELETE /api/v1/practice": note("Remove the practice feeders and their data", 200, "HomeView"),
  "POST /api/v1/practice/programme": note(
    "Start, stop or remove the practice yard of a whole programme",
    200,
    "HomeView",
  ),
  "POST /api/v1/practice/fault": note("Break a practice feeder", 200, "HomeView"),
  "POST /api/v1/feeders": note("Add a feeder; its key is shown this once", 201, "AddedFeederView"),
  "GET /api/v1/feeders/:feeder": note("One feeder as it is now", 200, "FeederView"),
  "PATCH /api/v1/feeders/:feeder": note("Change a feeder's settings", 200, "FeederView"),
  "DELETE /api/v1/feeders/:feeder": note("Remove a feeder and its record", 204, null),
  "POST /api/v1/feeders/:feeder/key": note("Make a new key; the old one no longer opens anything", 200, newKey),
  "GET /api/v1/feeders/:feeder/plan": note("The feeding plan, and whether the feeder follows it", 200, "PlanView"),
  "POST /api/v1/feeders/:feeder/plan/preview": note(
    "The plan that other rules would make. It changes nothing: rules are saved with the feeder's settings, as `feeding`",
    200,
    "PlanView",
  ),
  "POST /api/v1/feeders/:feeder/plan/ration": note(
    "The most that a day's ration should be for the birds that come. It changes nothing",
    200,
    "RationView",
  ),
  "GET /api/v1/feeders/:feeder/bench": note(
    "The bench run of a feeder, and the last ones with their verdicts",
    200,
    "BenchView",
  ),
  "POST /api/v1/feeders/:feeder/bench": note(
    "Start a bench run (409 while one is under way, or the feeder is paused), say that a step is done, or stop it. A repeat changes nothing",
    200,
    "BenchView",
  ),
  "POST /api/v1/feeders/:feeder/settings/comparison": note(
    "What the last days would have brought with other settings. It changes nothing, takes up to a minute, and runs one at a time (429)",
    200,
    "SettingsComparisonView",
  ),
  "GET /api/v1/feeders/:feeder/day": note("A day of a feeder, from dusk to dusk", 200, "DayView"),
  "GET /api/v1/feeders/:feeder/log": note("The whole record of a feeder, one JSON value a line", 200, null),
  "GET /api/v1/feeders/:feeder/history": note(
    "What a chart shows of a feeder over a span of at most ten years; its `ETag` in `If-None-Match` gives 304 while nothing has changed",
    200,
    "HistoryView",
  ),
  "GET /api/v1/feeders/:feeder/portions": note(
    "The portions of at most two days, the last 200 of them, as the feeder reported each",
    200,
    "PortionsView",
  ),
  "POST /api/v1/feeders/:feeder/refills": note("Enter a refill of the hopper", 200, "FeederView"),
  "POST /api/v1/feeders/:feeder/cleaned": note("Enter that a feeder was cleaned", 200, "FeederView"),
  "POST /api/v1/feeders/:feeder/orders": note(
    "Pause or resume; the same id again is the same order",
    200,
    "FeederView",
  ),
  [`POST ${alarm}/acknowledge`]: note("Acknowledge an alarm", 200, "FeederView"),
  [`POST ${alarm}/reset`]: note("Reset a latched alarm", 200, "FeederView"),
  [`POST ${alarm}/shelve`]: note("Shelve an alarm until a time", 200, "FeederView"),
  [`POST ${alarm}/out-of-service`]: note("Take an alarm out of service", 200, "FeederView"),
  [`POST ${alarm}/return-to-service`]: note("Return an alarm to service", 200, "FeederView"),
  "POST /api/v1/yards/:yard/orders": note(
    "Pause or resume all feeders of a yard; the same id again is the same order",
    200,
    "YardOrderView",
  ),
  "GET /api/v1/phones": note("Your phones, and whether each can be reached", 200, "PhonesView"),
  "POST /api/v1/phones": note("Add a phone", 201, "PhonesView"),
  "PUT /api/v1/phones": note("Give a phone its browser's new endpoint; it stays the same phone", 200, "PhonesView"),
  "POST /api/v1/phones/permission": note("Report whether a phone may show notifications", 200, "PhonesView"),
  "POST /api/v1/phones/forget": note("Remove a phone", 200, "PhonesView"),
  "POST /api/v1/phones/test": note("Send a test notification to your phones", 200, "TestPushView"),
  "POST /api/v1/yards/:yard/disease-notice": note(
    "Put a bird-disease notice in force for a yard, or lift it",
    200,
    "HomeView",
  ),
  "GET /api/v1/yards/:yard/notes": note("The notes of a yard, the newest first", 200, "NotesView"),
  "POST /api/v1/yards/:yard/notes": note("Write a note; the same id again is the same note", 200, "NotesView"),
  "PATCH /api/v1/yards/:yard/notes/:note": note("Change the text of a note", 200, "NotesView"),
  "DELETE /api/v1/yards/:yard/notes/:note": note("Delete a note", 200, "NotesView"),
  "POST /api/v1/yards/:yard/notes/:note/photos": note(
    "Add a photograph to a note: the body is a JPEG, PNG or WebP picture of at most 8 MiB and 24 million pixels; the same again is the same",
    200,
    "NotesView",
  ),
  "GET /api/v1/yards/:yard/pictures/:picture": note("A picture as JPEG", 200, null),
  "DELETE /api/v1/yards/:yard/pictures/:picture": note("Delete a picture", 200, "NotesView"),
  "GET /api/v1/yards/:yard/stills": note("Stills of the feeders' cameras, the newest first", 200, "StillsView"),
  "PATCH /api/v1/yards/:yard/stills/:still": note(
    "Star a still, or say who is in it and what was brought",
    200,
    "StillsView",
  ),
  "DELETE /api/v1/yards/:yard/stills/:still": note("Delete a still", 200, "StillsView"),
  "GET /api/v1/yards/:yard/stills/:still/picture": note("A still as JPEG", 200, null),
  "GET /api/v1/yards/:yard/training/export": note(
    "A table of the training record as a file, CSV or JSON lines: days, events, promises, bouts, stages, feeders, changes, notes, photos or stills",
    200,
    { type: "string" },
  ),
  "GET /api/v1/yards/:yard/training/export/archive": note(
    "All of these files with the notes' photographs and the stills, as one ZIP",
    200,
    null,
  ),
  "POST /api/v1/yards/:yard/training/import": note(
    "Take an exported training record into a yard: the archive, or one of its files of JSON lines",
    200,
    "ImportedRecordView",
  ),
  "GET /api/v1/yards/:yard/training/export/dictionary": note(
    "What each column of these files means, with its unit, and the licence that you state",
    200,
    { type: "object" },
  ),
  "GET /api/v1/yards/:yard/training": note(
    "The training record of a yard: its programme, what the birds did, and one advice",
    200,
    "TrainingView",
  ),
  "GET /api/v1/yards/:yard/training/report": note(
    "The training record of at most a year, each stage by itself, as the report to print has it",
    200,
    "ReportView",
  ),
  "POST /api/v1/yards/:yard/training/changes": note(
    "Change the programme: start a stage, change what is shaped, edit the stages; the same id again is the same change",
    200,
    "TrainingView",
  ),
  "POST /api/v1/yards/:yard/training/changes/:change/undo": note("Undo a change of the programme", 200, "TrainingView"),
  "GET /api/v1/yards/:yard/digest": note("A yard's digest of a day", 200, "DigestView"),
  "GET /api/v1/yards/:yard/alarm-rates": note(
    "How often a yard's alarms are raised, and what to change",
    200,
    "RatesView",
  ),
  "GET /api/v1/yards/:yard/people": note("Who belongs to a yard", 200, "PeopleView"),
  "PATCH /api/v1/yards/:yard/people/:person": note("Change how a person is notified, or their role", 200, "PeopleView"),
  "DELETE /api/v1/yards/:yard/people/:person": note("Leave a yard, or remove somebody", 204, null),
  "POST /api/v1/yards/:yard/invites": note("Invite somebody; the link is shown this once", 201, "InviteView"),
  "DELETE /api/v1/yards/:yard/invites/:invite": note("Withdraw an invitation that nobody has used", 200, "PeopleView"),
  "POST /api/v1/yards": note("Make another yard", 201, "AddedYardView"),
  "POST /api/v1/yards/:yard/remove": note("Delete a yard with its feeders and their record", 204, null),
  "POST /api/v1/me/passphrase": note("Change your passphrase; your other sessions end", 204, null),
  "GET /api/v1/me/sessions": note("Where you are signed in", 200, "SessionsView"),
  "DELETE /api/v1/me/sessions": note("End all your other sessions", 200, "SessionsView"),
  "DELETE /api/v1/me/sessions/:session": note("End one of your sessions", 200, "SessionsView"),
  "GET /api/v1/me/export-keys": note("Your export keys, which read only the training record", 200, "ExportKeysView"),
  "POST /api/v1/me/export-keys": note("Make an export key; it is shown this once", 201, "MadeExportKeyView"),
  "DELETE /api/v1/me/export-keys/:exportKey": note(
    "Remove an export key; it is not valid any more",
    200,
    "ExportKeysView",
  ),
  "POST /api/v1/me/remove": note("Delete your account", 204, null),
  "GET /api/v1/me": note("Yourself", 200, "MeView"),
  "PATCH /api/v1/me": note("Change your e-mail address", 200, "MeView"),
  "POST /api/v1/me/email/test": note("Send a test e-mail to yourself", 200, "TestEmailView"),
  "POST /api/v1/session/passkey/options": note("Ask to sign in with a passkey", 200, passkeyAnswers.options),
  "POST /api/v1/session/passkey": note("Sign in with a passkey", 200, signedIn),
  "GET /api/v1/me/passkeys": note("Your passkeys, and where they work", 200, passkeyAnswers.passkeys),
  "POST /api/v1/me/passkeys/options": note(
    "Ask to add a passkey; the passphrase is needed where you signed in more than 5 minutes ago",
    200,
    passkeyAnswers.options,
  ),
  "POST /api/v1/me/passkeys": note("Add a passkey", 201, passkeyAnswers.passkeys),
  "PATCH /api/v1/me/passkeys/:passkey": note("Rename a passkey", 200, passkeyAnswers.passkeys),
  "DELETE /api/v1/me/passkeys/:passkey": note("Remove a passkey", 200, passkeyAnswers.passkeys),
  "POST /api/v1/me/confirm/options": note("Ask to confirm with a passkey who you are", 200, passkeyAnswers.options),
  "POST /api/v1/me/confirm": note("Confirm with a passphrase or a passkey who you are", 204, null),
  "GET /api/v1/live": note("A WebSocket that reports what changed", 101, null),
};
