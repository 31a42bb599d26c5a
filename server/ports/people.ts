import type { DigestChannel, Role } from "../contract/api.ts";
import type { Instant } from "../domain/instant.ts";
import type { QuietHours } from "../domain/notification/escalation.ts";

/** Who belongs to which yard, with which role, and how they want to be notified. */

/** A person at a yard. */
export interface MemberRow {
  readonly yard: string;
  readonly person: { readonly id: string; readonly name: string; readonly email: string | null };
  readonly role: Role;
  readonly escalationOrder: number; // 1 is notified first; several may have the same
  readonly quietHours: QuietHours | null;
  readonly urgentBreaks: boolean;
  readonly digestBy: DigestChannel;
}

/** What may be changed: the first three by the person, the others by a keeper of the yard. */
export type MemberChanges = Partial<
  Pick<MemberRow, "quietHours" | "urgentBreaks" | "digestBy" | "role" | "escalationOrder">
>;

/**
 * `lastKeeper`: nothing was changed, since the yard would have no keeper left. `accountEnded`: it was the person's last yard, so
 * their account was removed too.
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

/** `member`: the invite would change nothing, and stays open for another person. */
export type InviteResult =
  | { readonly kind: "joined"; readonly yard: string }
  | { readonly kind: "alreadyMember"; readonly yard: string }
  | { readonly kind: "noSuchInvite" }
  | { readonly kind: "nameTaken" };

/**
 * The people of yards. Each change of who can be notified, and when, makes the escalations of their yards due at once, in the
 * same commit: an escalation that reached nobody may reach a person now.
 */
export interface PeopleStore {
  /** In the order in which they are notified. */
  membersOf(yard: string): Promise<readonly MemberRow[]>;
  /** All yards of a person, in any order. */
  membershipsOf(person: string): Promise<readonly Pick<MemberRow, "yard" | "role">[]>;
  /** The role of a person at a yard, or at a feeder's yard; null where they don't belong to it, or there is none. */
  roleAt(person: string, of: { readonly yard: string } | { readonly feeder: string }): Promise<Role | null>;
  /** How many people belong to each yard, by yard. */
  countMembers(): Promise<ReadonlyMap<string, number>>;
  /** Adds them last in the escalation order, or makes a helper a keeper; a keeper stays one. */
  addMember(yard: string, person: string, role: Role, now: Instant): Promise<void>;
  changeMember(yard: string, person: string, changes: MemberChanges, now: Instant): Promise<MemberChangeResult>;
  /** Also removes waiting notifications to them about this yard, and the account of a person who has no other yard. */
  removeMember(yard: string, person: string, now: Instant): Promise<MemberChangeResult>;
  emailOf(person: string): Promise<string | null>;
  changeEmail(person: string, email: string | null, now: Instant): Promise<void>;
  /** The hash is hexadecimal SHA-256; the token itself is not stored. */
  addInvite(tokenHash: string, openInvite: InviteRow, now: Instant): Promise<void>;
  /** Those that are neither used nor expired. */
  openInvites(yard: string, now: Instant): Promise<readonly OpenInvite[]>;
  /** @returns whether it was open */
  withdrawInvite(yard: string, tokenHash: string, now: Instant): Promise<boolean>;
  invite(tokenHash: string, now: Instant): Promise<InviteRow | null>;
  /** One that was used, and isn't expired. */
  usedInvite(tokenHash: string, now: Instant): Promise<InviteRow | null>;
  /**
   * Uses the invite and adds the member, both or neither; two at once can't use the same one.
   * @param newPerson a person without an account, who gets one in the same commit; null: `person` has one.
   */
  useInvite(
    tokenHash: string,
    person: string,
    newPerson: { readonly name: string; readonly passphraseHash: string } | null,
    now: Instant,
  ): Promise<InviteResult>;
}
