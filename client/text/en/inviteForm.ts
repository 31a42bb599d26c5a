import { roleText } from "./people.ts";

export const title = "Invite a person";
export const roleLegend = "Role";
export const roleLabel = (role: keyof typeof roleText) => `As a ${roleText[role].name}`;
export const createLabel = "Create link";
export const openTitle = "Open invitations";
export const openEntryTitle = (role: keyof typeof roleText) => `For a ${roleText[role].name}`;
export const createdText = (ago: string, end: string) => `Created ${ago}, valid until ${end}.`;
export const cancelInvitationLabel = "Cancel";
/** Added to the label for screen readers. */
export const cancelInvitationDetail = (role: keyof typeof roleText, ago: string) =>
  ` the invitation for a ${roleText[role].name}, created ${ago}`;
export const cancelledText = "The invitation is cancelled.";
export const shareText = (yard: string) => `Help with the feeders of ${yard}`;
export const shownOnceTitle = "This link is shown only once.";
export const shownOnceText = (end: string) => `It works for one person until ${end}. Send it only to that person.`;
export const shareLabel = "Share link";
export const linkLabel = "the link";
