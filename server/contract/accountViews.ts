import type { Role } from "./requests.ts";

/** A person's own accounts and a yard's open invitations. Part of api.ts, and documented with it. */

/** Where a person is signed in, the last used first. */
export interface SessionsView {
  readonly sessions: readonly SessionView[];
}
export interface SessionView {
  readonly id: string; // no secret: with it nobody can sign in
  readonly here: boolean; // the session of this very request
  readonly device: string; // "Firefox on Android", as the browser states it, so it proves nothing
  readonly signedInAt: string;
  readonly lastUsedAt: string; // to within ten minutes
  readonly endsAt: string; // if it isn't used until then
}

/** With an export key a person's own program reads the export of the training record of their yards. */
export interface ExportKeysView {
  readonly keys: readonly ExportKeyView[];
  readonly most: number;
}
export interface ExportKeyView {
  readonly id: string; // no secret: nothing is read with it
  readonly name: string;
  readonly madeAt: string;
  readonly expiresAt: string;
  readonly lastUsedAt: string | null; // to within a minute
}
export interface MadeExportKeyView extends ExportKeysView {
  readonly key: string; // shown this once: only its hash is stored
}

export interface AddedYardView {
  readonly yard: { readonly id: string; readonly name: string };
}

/** A link that nobody has used yet. `id` is no secret: a keeper withdraws the link by it. */
export interface OpenInviteView {
  readonly id: string;
  readonly role: Role;
  readonly madeAt: string;
  readonly expiresAt: string;
}
