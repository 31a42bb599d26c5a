import { texts } from "../text/index.ts";
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
  const foundAt = utcText(damage.foundAt);
  switch (damage.kind) {
    case "damaged":
    case "missing":
      return texts.storeDamage[damage.kind](foundAt);
    case "commitsLost":
      return texts.storeDamage.commitsLost(foundAt, damage.commits);
  }
}

/** What to do about it, for whoever runs the server. */
export function adviceText({ backup, command }: RestoreAdvice): string {
  const { restore, restoreOther } = texts.storeDamage;
  return backup === null ? restoreOther(command) : restore(backup.path, backup.madeAt, command);
}

export function damageNotification(damage: StoreDamage, advice: RestoreAdvice): NotificationContent {
  return {
    fault: null,
    priority: "urgent",
    title: texts.storeDamage.titles[damage.kind],
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

const utcText = (at: Instant): string => texts.storeDamage.utc(isoOf(at).slice(0, 16).replace("T", " "));
