import { texts } from "../../text/index.ts";
import type { FaultKind } from "../faults.ts";
import type { NotificationContent } from "../notification/content.ts";
import type { Email, EmailSection } from "./email.ts";
import { renderEmail } from "./renderEmail.ts";

export interface EmailContext {
  readonly yardName: string | null; // null where it is about no yard, as in a test e-mail
  readonly feederName: string | null; // null where it is about the whole yard
  /** The page of its subject; null where no public address is known. */
  readonly link: string | null;
  /** Where keepers reach this server, without a slash at its end; left out or null where it isn't known. */
  readonly home?: string | null;
}

/** A notification as an e-mail: its text, the place, the caution, and the link to the page where a keeper can respond. */
export function notificationEmail(
  content: NotificationContent,
  { yardName, feederName, link, home = null }: EmailContext,
): Email {
  const caution = cautionOf(content);
  const place = [
    ...(feederName === null ? [] : [texts.email.feeder(feederName)]),
    ...(yardName === null ? [] : [texts.email.yard(yardName)]),
  ];
  return renderEmail({
    subject: content.title,
    title: content.title,
    sections: [
      ...(content.emailSections?.map((part) => withAbsoluteLinks(part, home)) ?? [
        { kind: "paragraphs" as const, text: content.body },
      ]),
      ...(caution === null ? [] : [{ kind: "caution" as const, text: caution }]),
      { kind: "paragraphs", text: place.join(" ") },
    ],
    link: link === null ? null : { text: linkText(content), address: link },
    footer: texts.email.footer(yardName ?? texts.email.unknownYard),
    topic: emailTopic(content),
  });
}

/** Paths don't work in an e-mail: they become addresses, or are left out where this server's address isn't known. */
function withAbsoluteLinks(part: EmailSection, home: string | null): EmailSection {
  if (part.kind !== "list" || part.links === undefined) return part;
  const { links, ...list } = part;
  return home === null ? list : { ...list, links: links.map((path) => `${home}${path}`) };
}

/** The e-mails of one raise are one thread; a later raise of the same fault is another one. */
const emailTopic = ({ topic, raisedAt }: NotificationContent): string =>
  raisedAt === undefined ? topic : `${topic} ${raisedAt}`;

function linkText({ actions = [] }: NotificationContent): string {
  return actions.includes("acknowledge") ? texts.email.openAndAcknowledge : texts.email.open;
}

/** The caution where the fault, or work on it, can cause harm. As on the client's safety page. */
function cautionOf({ fault, isClosing }: NotificationContent): string | null {
  return fault === null || isClosing ? null : (cautions[fault] ?? null);
}

const { movingParts, electricity, charging, frozenBattery } = texts.email.cautions;

const cautions: Partial<Readonly<Record<FaultKind, string>>> = {
  feederSilent: electricity,
  motorNotTurning: movingParts,
  motorStalled: movingParts,
  trayJammed: movingParts,
  feedBridged: movingParts,
  feedStopped: movingParts,
  feedsThoughPaused: movingParts,
  pauseContradicted: movingParts,
  pauseOverdue: movingParts,
  iceLock: movingParts,
  supplyWeak: electricity,
  chargingInFrost: charging,
  batteryFreezing: frozenBattery,
};
