import type { z } from "zod";
import type {
  AddedFeederView,
  AddedYardView,
  addFeederRequest,
  addYardRequest,
  changeFeederRequest,
  DigestView,
  deleteAccountRequest,
  diseaseNoticeRequest,
  ExportKeysView,
  exportKeyRequest,
  FeederView,
  firstSignInRequest,
  HistoryView,
  HomeView,
  ImportedRecordView,
  InviteView,
  JoinedView,
  joinRequest,
  MadeExportKeyView,
  MeView,
  meRequest,
  PeopleView,
  PlanView,
  PortionsView,
  PracticeFault,
  passphraseRequest,
  personRequest,
  RatesView,
  RationView,
  ReportView,
  Role,
  resetRequest,
  SessionsView,
  SettingsComparisonView,
  TestEmailView,
  TestPushView,
  yardRequest,
} from "../../server/contract/api.ts";
import type { BenchRequest } from "../../server/contract/benchRequest.ts";
import type { BenchView } from "../../server/contract/benchView.ts";
import type { FeedingRequest, rationRequest } from "../../server/contract/feedingRequest.ts";
import type { noteChangeRequest, noteRequest, ProgrammeChangeRequest } from "../../server/contract/trainingRequest.ts";
import type { NotesView, TrainingView } from "../../server/contract/trainingView.ts";
import { type ApiResult, request } from "./api.ts";
import { type PagePlace, pageQuery } from "./pageQuery.ts";

/** Requests that no first screen makes; apart from api.ts, which the first screen waits for. */
export const laterApi = {
  resetPassphrase: (body: z.input<typeof resetRequest>) =>
    request<{ keeper: { name: string } }>("POST", "/reset", body),
  changePassphrase: (body: z.input<typeof passphraseRequest>) => request<null>("POST", "/me/passphrase", body),
  sessions: () => request<SessionsView>("GET", "/me/sessions"),
  endSession: (id: string) => request<SessionsView>("DELETE", `/me/sessions/${encodeURIComponent(id)}`),
  endOtherSessions: () => request<SessionsView>("DELETE", "/me/sessions"),
  exportKeys: () => request<ExportKeysView>("GET", "/me/export-keys"),
  makeExportKey: (body: z.input<typeof exportKeyRequest>) =>
    request<MadeExportKeyView>("POST", "/me/export-keys", body),
  removeExportKey: (id: string) => request<ExportKeysView>("DELETE", `/me/export-keys/${encodeURIComponent(id)}`),
  deleteAccount: (body: z.input<typeof deleteAccountRequest>) => request<null>("POST", "/me/remove", body),
  addYard: (added: z.input<typeof addYardRequest>) => request<AddedYardView>("POST", "/yards", added),
  deleteYard: (id: string, name: string) => request<null>("POST", `${yardPath(id)}/remove`, { name }),
  withdrawInvite: (yardId: string, id: string) =>
    request<PeopleView>("DELETE", `${yardPath(yardId)}/invites/${encodeURIComponent(id)}`),
  firstSignIn: (body: z.input<typeof firstSignInRequest>) =>
    request<{ keeper: { name: string } }>("POST", "/first-sign-in", body),
  join: (joining: z.input<typeof joinRequest>) => request<JoinedView>("POST", "/join", joining),
  people: (yardId: string) => request<PeopleView>("GET", `${yardPath(yardId)}/people`),
  changePerson: (yardId: string, id: string, change: z.input<typeof personRequest>) =>
    request<PeopleView>("PATCH", person(yardId, id), change),
  removePerson: (yardId: string, id: string) => request<PeopleView>("DELETE", person(yardId, id)),
  invite: (yardId: string, role: Role) => request<InviteView>("POST", `${yardPath(yardId)}/invites`, { role }),
  changeMe: (change: z.input<typeof meRequest>) => request<MeView>("PATCH", "/me", change),
  testMail: () => request<TestEmailView>("POST", "/me/email/test"),
  addFeeder: (added: z.input<typeof addFeederRequest>) => request<AddedFeederView>("POST", "/feeders", added),
  changeFeeder: (id: string, change: z.input<typeof changeFeederRequest>) =>
    request<FeederView>("PATCH", feederPath(id), change),
  /** Takes up to a minute. */
  compareSettings: (id: string, settings: z.input<typeof changeFeederRequest>, cancel: AbortSignal) =>
    request<SettingsComparisonView>("POST", `${feederPath(id)}/settings/comparison`, { settings }, cancel),
  plan: (id: string) => request<PlanView>("GET", `${feederPath(id)}/plan`),
  planPreview: (id: string, rules: FeedingRequest) =>
    request<PlanView>("POST", `${feederPath(id)}/plan/preview`, rules),
  ration: (id: string, asked: z.input<typeof rationRequest>) =>
    request<RationView>("POST", `${feederPath(id)}/plan/ration`, asked),
  bench: (id: string) => request<BenchView>("GET", `${feederPath(id)}/bench`),
  changeBench: (id: string, change: BenchRequest) => request<BenchView>("POST", `${feederPath(id)}/bench`, change),
  digest: (yardId: string, date: string | null) =>
    request<DigestView>("GET", `${yardPath(yardId)}/digest${date === null ? "" : `?date=${date}`}`),
  /** Without a place the newest. */
  notes: (yardId: string, after: PagePlace | null) =>
    request<NotesView>("GET", `${yardPath(yardId)}/notes${pageQuery(after)}`),
  alarmRates: (yardId: string) => request<RatesView>("GET", `${yardPath(yardId)}/alarm-rates`),
  training: (yardId: string) => request<TrainingView>("GET", `${yardPath(yardId)}/training`),
  seasonReport: (yardId: string) => request<ReportView>("GET", `${yardPath(yardId)}/training/report`),
  changeProgramme: (yardId: string, change: ProgrammeChangeRequest) =>
    request<TrainingView>("POST", `${yardPath(yardId)}/training/changes`, change),
  undoProgrammeChange: (yardId: string, change: string) =>
    request<TrainingView>("POST", `${yardPath(yardId)}/training/changes/${encodeURIComponent(change)}/undo`),
  removeFeeder: (id: string) => request<unknown>("DELETE", feederPath(id)),
  newKey: (id: string) => request<{ key: string }>("POST", `${feederPath(id)}/key`),
  changeYard: (id: string, change: z.input<typeof yardRequest>) => request<unknown>("PATCH", yardPath(id), change),
  setDiseaseNotice: (id: string, notice: z.input<typeof diseaseNoticeRequest>) =>
    request<unknown>("POST", `${yardPath(id)}/disease-notice`, notice),
  addNote: (yardId: string, note: z.input<typeof noteRequest>) =>
    request<NotesView>("POST", `${yardPath(yardId)}/notes`, note),
  changeNote: (yardId: string, id: string, change: z.input<typeof noteChangeRequest>) =>
    request<NotesView>("PATCH", notePath(yardId, id), change),
  addPhoto: (yardId: string, note: string, picture: Blob) =>
    request<NotesView>("POST", `${notePath(yardId, note)}/photos`, picture, photoTimeoutMs),
  importRecord: (yardId: string, file: Blob) =>
    request<ImportedRecordView>("POST", `${yardPath(yardId)}/training/import`, file, importTimeoutMs),
  deletePhoto: (yardId: string, id: string) =>
    request<NotesView>("DELETE", `${yardPath(yardId)}/pictures/${encodeURIComponent(id)}`),
  deleteNote: (yardId: string, id: string) => request<NotesView>("DELETE", notePath(yardId, id)),
  portions: (feeder: string, from: string, to: string) =>
    request<PortionsView>("GET", `${feederPath(feeder)}/portions?${new URLSearchParams({ from, to })}`),
  history: (feeder: string, span: { from: string; to: string; points: number; columns: string }) =>
    request<HistoryView>(
      "GET",
      `${feederPath(feeder)}/history?${new URLSearchParams({ ...span, points: String(span.points) })}`,
    ),
  health: () => request<HealthView>("GET", "/health"),
  testPhones: () => request<TestPushView>("POST", "/phones/test"),
  startPractice: () => request<HomeView>("POST", "/practice"),
  endPractice: () => request<HomeView>("DELETE", "/practice"),
  practiceProgramme: (action: "start" | "stop" | "remove") =>
    request<HomeView>("POST", "/practice/programme", { do: action }),
  practiceFault: (fault: PracticeFault) => request<HomeView>("POST", "/practice/fault", { fault }),
};

/** What the server says of itself; `broker` only where it has one. */
interface HealthView {
  readonly status: "well" | "damaged" | "unknown";
  readonly broker?: "connected" | "notConnected";
}

/** On a weak connection half a megabyte takes a while; the server's own limit is 20 s. */
const photoTimeoutMs = 30_000;
/** Gigabytes of pictures on a home network, and the work on a small board. Our choice. */
const importTimeoutMs = 30 * 60_000;
export const photoUrl = (yardId: string, id: string, size: "full" | "small") =>
  `/api/v1${yardPath(yardId)}/pictures/${encodeURIComponent(id)}?size=${size}`;

const feederPath = (id: string) => `/feeders/${encodeURIComponent(id)}`;
const yardPath = (id: string) => `/yards/${encodeURIComponent(id)}`;
const notePath = (yardId: string, id: string) => `${yardPath(yardId)}/notes/${encodeURIComponent(id)}`;
const person = (yardId: string, id: string) => `${yardPath(yardId)}/people/${encodeURIComponent(id)}`;

/** A result without its content, which a form's `send` can distinguish from a failure. */
export async function withoutContent(pending: Promise<ApiResult<unknown>>): Promise<ApiResult<true>> {
  const result = await pending;
  return result.kind === "ok" ? { kind: "ok", value: true } : result;
}
