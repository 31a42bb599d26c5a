import type { DigestChannel, Role } from "../contract/api.ts";
import type { Instant } from "../domain/instant.ts";
import type { QuietHours } from "../domain/notification/escalation.ts";

/** Who belongs to which yard, as what, and how they want to be told of it. */

/** A person at a yard. */
export interface MemberRow {
  readonly yard: string;
  readonly person: { readonly id: string; readonly name: string; readonly email: string | null };
  readonly role: Role;
  readonly escalationOrder: number; // 1 is told first; several may share a turn
  readonly quietHours: QuietHours | null;
  readonly urgentBreaks: boolean;
  readonly digestBy: DigestChannel;
}

/** What may be changed about it: by the person the first three, by a keeper of the yard the others. */
export type MemberChanges = Partial<
  Pick<MemberRow, "quietHours" | "urgentBreaks" | "digestBy" | "role" | "escalationOrder">
>;

/**
 * `lastKeeper`: nothing was changed, since nobody would be left to keep the yard. `accountEnded`: it was the person's last yard,
 * so that their account went along.
 */
export type MemberChangeResult = "changed" | "accountEnded" | "noSuchMember" | "lastKeeper";

export interface InviteRow {
  readonly yard: string;
  readonly role: Role;
  readonly expiresAt: Instant;
}

export interface OpenInvite extends InviteRow {
  readonly tokenHash: string;
  readonly createdAt: Instant;
}

/** `member`: the invite would change nothing, and stays open for somebody else. */
export type InviteResult =
  | { readonly kind: "joined"; readonly yard: string }
  | { readonly kind: "alreadyMember"; readonly yard: string }
  | { readonly kind: "noSuchInvite" }
  | { readonly kind: "nameTaken" };

/**
 * The people of yards. Whatever changes who can be told, and when, makes the calls of their yards due at once, in the same
 * commit: a call that nobody could be reached by must hear of whoever can be now.
 */
export interface PeopleStore {
  /** In the order in which they are told. */
  membersOf(yard: string): Promise<readonly MemberRow[]>;
  /** All yards of a person. */
  membershipsOf(person: string): Promise<readonly Pick<MemberRow, "yard" | "role">[]>;
  /** What a person is at a yard, or at a feeder's; null where they aren't of it, or there is none. */
  roleAt(person: string, of: { readonly yard: string } | { readonly feeder: string }): Promise<Role | null>;
  /** How many belong to each yard, by yard. */
  countMembers(): Promise<ReadonlyMap<string, number>>;
  /** Adds them with the last turn, or raises a helper to a keeper; somebody who is more already stays so. */
  addMember(yard: string, person: string, role: Role, now: Instant): Promise<void>;
  changeMember(yard: string, person: string, changes: MemberChanges, now: Instant): Promise<MemberChangeResult>;
  /** Also drops what was still on its way to them about this yard, and ends the account of whoever has no other yard. */
  removeMember(yard: string, person: string, now: Instant): Promise<MemberChangeResult>;
  emailOf(person: string): Promise<string | null>;
  changeEmail(person: string, mail: string | null, now: Instant): Promise<void>;
  /** The hash is hexadecimal SHA-256; the token itself is kept nowhere. */
  addInvite(tokenHash: string, openInvite: InviteRow, now: Instant): Promise<void>;
  /** Those that are neither used nor expired. */
  openInvites(yard: string, now: Instant): Promise<readonly OpenInvite[]>;
  /** @returns whether it was open */
  withdrawInvite(yard: string, tokenHash: string, now: Instant): Promise<boolean>;
  invite(tokenHash: string, now: Instant): Promise<InviteRow | null>;
  /** One that was used, and isn't expired. */
  usedInvite(tokenHash: string, now: Instant): Promise<InviteRow | null>;
  /**
   * Uses the invite up and adds the member, both or neither; two at once can't use the same one.
   * @param newcomer somebody who has no account yet and gets one with it, in the same commit; null: `person` has one.
   */
  useInvite(
    tokenHash: string,
    person: string,
    newcomer: { readonly name: string; readonly passphraseHash: string } | null,
    now: Instant,
  ): Promise<InviteResult>;
}
