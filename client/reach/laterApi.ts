import type { z } from "zod";
import type {
  AddedFeederView,
  AddedYardView,
  addFeederRequest,
  addYardRequest,
  changeFeederRequest,
  claimRequest,
  deleteAccountRequest,
  FeederView,
  HomeView,
  InviteView,
  JoinedView,
  joinRequest,
  MeView,
  meRequest,
  PeopleView,
  PracticeFault,
  passphraseRequest,
  personRequest,
  Role,
  resetRequest,
  SessionsView,
  TestMailView,
  TestPushView,
  yardRequest,
} from "../../server/contract/api.ts";
import { type Answer, ask } from "./api.ts";

/** Requests that no first screen makes. Apart from api.ts, which a first opening waits for. */
export const laterApi = {
  resetPassphrase: (said: z.input<typeof resetRequest>) => ask<{ keeper: { name: string } }>("POST", "/reset", said),
  changePassphrase: (said: z.input<typeof passphraseRequest>) => ask<null>("POST", "/me/passphrase", said),
  sessions: () => ask<SessionsView>("GET", "/me/sessions"),
  endSession: (id: string) => ask<SessionsView>("DELETE", `/me/sessions/${encodeURIComponent(id)}`),
  endOtherSessions: () => ask<SessionsView>("DELETE", "/me/sessions"),
  deleteAccount: (said: z.input<typeof deleteAccountRequest>) => ask<null>("POST", "/me/remove", said),
  addYard: (added: z.input<typeof addYardRequest>) => ask<AddedYardView>("POST", "/yards", added),
  deleteYard: (id: string, name: string) => ask<null>("POST", `${yardPath(id)}/remove`, { name }),
  withdrawInvite: (yardId: string, id: string) =>
    ask<PeopleView>("DELETE", `${yardPath(yardId)}/invites/${encodeURIComponent(id)}`),
  claim: (claim: z.input<typeof claimRequest>) => ask<{ keeper: { name: string } }>("POST", "/claim", claim),
  join: (joining: z.input<typeof joinRequest>) => ask<JoinedView>("POST", "/join", joining),
  people: (yardId: string) => ask<PeopleView>("GET", `${yardPath(yardId)}/people`),
  changePerson: (yardId: string, id: string, change: z.input<typeof personRequest>) =>
    ask<PeopleView>("PATCH", person(yardId, id), change),
  removePerson: (yardId: string, id: string) => ask<PeopleView>("DELETE", person(yardId, id)),
  invite: (yardId: string, role: Role) => ask<InviteView>("POST", `${yardPath(yardId)}/invites`, { role }),
  changeMe: (change: z.input<typeof meRequest>) => ask<MeView>("PATCH", "/me", change),
  testMail: () => ask<TestMailView>("POST", "/me/mail/test"),
  addFeeder: (added: z.input<typeof addFeederRequest>) => ask<AddedFeederView>("POST", "/feeders", added),
  changeFeeder: (id: string, change: z.input<typeof changeFeederRequest>) =>
    ask<FeederView>("PATCH", feederPath(id), change),
  removeFeeder: (id: string) => ask<unknown>("DELETE", feederPath(id)),
  newKey: (id: string) => ask<{ key: string }>("POST", `${feederPath(id)}/key`),
  changeYard: (id: string, change: z.input<typeof yardRequest>) => ask<unknown>("PATCH", yardPath(id), change),
  testPhones: () => ask<TestPushView>("POST", "/phones/test"),
  startPractice: () => ask<HomeView>("POST", "/practice"),
  endPractice: () => ask<HomeView>("DELETE", "/practice"),
  practiceFault: (fault: PracticeFault) => ask<HomeView>("POST", "/practice/fault", { fault }),
};

const feederPath = (id: string) => `/feeders/${encodeURIComponent(id)}`;
const yardPath = (id: string) => `/yards/${encodeURIComponent(id)}`;
const person = (yardId: string, id: string) => `${yardPath(yardId)}/people/${encodeURIComponent(id)}`;

/** An answer whose content doesn't matter, as one that a form's `send` can tell from none. */
export async function withoutContent(asked: Promise<Answer<unknown>>): Promise<Answer<true>> {
  const answer = await asked;
  return answer.kind === "ok" ? { kind: "ok", value: true } : answer;
}
