import { roleText } from "./people.ts";

export const youText = "you";
export const phonesText = (count: number) => (count === 0 ? "No phone" : count === 1 ? "One phone" : `${count} phones`);
export const channelsText = (phones: string, hasEmail: boolean, quietHours: string, digest: string) =>
  `${phones}, ${hasEmail ? "e-mail" : "no e-mail"}. ${quietHours} Daily digest: ${digest}.`;
export const moveUpLabel = "Move up";
export const moveDownLabel = "Move down";
/** Added to a label for screen readers. */
export const forPersonText = (name: string) => ` for ${name}`;
export const leaveSummary = "Leave…";
/** The name is for screen readers only. */
export const changeSummary = { start: "Change", end: "…" } as const;
export const leaveHint = "If this is your only yard, your account is deleted.";
export const removeHint = "A person without a yard can't sign in any more.";
export const changeRoleLabel = (name: string, role: keyof typeof roleText) => `Make ${name} a ${roleText[role].name}`;
export const leaveLabel = "Leave this yard";
export const removeLabel = (name: string) => `Remove ${name}`;
