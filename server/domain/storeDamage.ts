import { days, type Instant, isoOf } from "./instant.ts";
import type { NotificationContent } from "./notification/content.ts";

/** What was found wrong with the database as a whole. */
export type StoreDamage =
  /** SQLite found it damaged. Nothing is stored from then on: what a restored backup would lack stays with the feeders. */
  | { readonly kind: "damaged"; readonly foundAt: Instant; readonly problem: string }
  /** There is none where there was one: the server doesn't start. */
  | { readonly kind: "missing"; readonly foundAt: Instant }
  /** Its last commits are gone; it is whole without them, and is used. */
  | { readonly kind: "commitsLost"; readonly foundAt: Instant; readonly commits: number };

/** How the keeper gets back what was stored. */
export interface RestoreAdvice {
  /** The newest copy that was checked when it was made; null where none is known. */
  readonly backup: { readonly path: string; readonly madeAt: string } | null;
  readonly command: string;
}

/** What is wrong, for everybody who opens the page. */
export function damageText(damage: StoreDamage): string {
  switch (damage.kind) {
    case "damaged":
      return (
        `The server's database is damaged (found ${utcText(damage.foundAt)}). Nothing is stored and no alarm is raised until a backup ` +
        "is restored. Feeders keep their events as long as they have room."
      );
    case "missing":
      return (
        `The server's database is missing or empty (found ${utcText(damage.foundAt)}). The server doesn't start: nothing is stored and no ` +
        "alarm is raised until a backup is restored. Feeders keep their events as long as they have room."
      );
    case "commitsLost":
      return (
        `The newest data of the server is missing (found ${utcText(damage.foundAt)}, ${damage.commits} commits). An older copy may have been ` +
        "restored. What feeders and people sent last before the restart may be missing."
      );
  }
}

/** What to do about it, for whoever runs the server. */
export function adviceText({ backup, command }: RestoreAdvice): string {
  const known =
    backup === null
      ? "No tested backup found on this server. To restore another one"
      : `The newest tested backup is ${backup.path} of ${backup.madeAt}. To restore it`;
  return `${known}, stop the server and run in its folder: ${command}`;
}

export function damageNotification(damage: StoreDamage, advice: RestoreAdvice): NotificationContent {
  return {
    fault: null,
    priority: "urgent",
    title: titles[damage.kind],
    body: damageWithAdviceText(damage, advice),
    topic: "store-damage",
    timeToLive: days(2),
    silent: false,
    link: "/",
  };
}

/** With what to do, for keepers. */
export const damageWithAdviceText = (damage: StoreDamage, advice: RestoreAdvice): string =>
  damage.kind === "commitsLost" ? damageText(damage) : `${damageText(damage)} ${adviceText(advice)}`;

const titles: Readonly<Record<StoreDamage["kind"], string>> = {
  damaged: "Pieward's database is damaged",
  missing: "Pieward's database is missing",
  commitsLost: "Pieward has lost what it stored last",
};

const utcText = (at: Instant): string => `${isoOf(at).slice(0, 16).replace("T", " ")} UTC`;
