import type { Role } from "./requests.ts";

/** What accounts and invitations look like to whom they belong to. Part of api.ts, and documented with it. */

/** Where a person is signed in, the last used first. */
export interface SessionsView {
  readonly sessions: readonly SessionView[];
}
export interface SessionView {
  readonly id: string; // no secret: with it nobody can sign in
  readonly here: boolean; // it is the one that asks
  readonly device: string; // "Firefox on Android"; as the browser says, so it proves nothing
  readonly signedInAt: string;
  readonly lastUsedAt: string; // to within ten minutes
  readonly endsAt: string; // if it isn't used until then
}

export interface AddedYardView {
  readonly yard: { readonly id: string; readonly name: string };
}

/** A link that nobody has used yet. `id` is no secret and opens nothing: by it, a keeper withdraws the link. */
export interface OpenInviteView {
  readonly id: string;
  readonly role: Role;
  readonly madeAt: string;
  readonly expiresAt: string;
}
