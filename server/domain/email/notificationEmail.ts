import type { FaultKind } from "../faults.ts";
import type { NotificationContent } from "../notification/content.ts";
import type { Email, EmailSection } from "./email.ts";
import { renderEmail } from "./renderEmail.ts";

export interface EmailContext {
  readonly yardName: string | null; // null where it speaks of no yard, as a letter that only tries the way does
  readonly feederName: string | null; // null where it speaks of the whole yard
  /** The page of what it speaks of; null where no public address is known. */
  readonly link: string | null;
  /** Where keepers reach this server, without a slash at its end; left out or null where it isn't known. */
  readonly home?: string | null;
}

/** A notice as a letter: what it says, where, what may hurt, and the way to the page where it can be answered. */
export function notificationEmail(
  notice: NotificationContent,
  { yardName, feederName, link, home = null }: EmailContext,
): Email {
  const caution = cautionOf(notice);
  const place = [
    ...(feederName === null ? [] : [`Feeder: ${feederName}.`]),
    ...(yardName === null ? [] : [`Yard: ${yardName}.`]),
  ];
  return renderEmail({
    subject: notice.title,
    title: notice.title,
    sections: [
      ...(notice.emailSections?.map((part) => withAbsoluteLinks(part, home)) ?? [
        { kind: "paragraphs" as const, text: notice.body },
      ]),
      ...(caution === null ? [] : [{ kind: "caution" as const, text: caution }]),
      { kind: "paragraphs", text: place.join(" ") },
    ],
    link: link === null ? null : { text: linkText(notice), address: link },
    footer: `Pieward sent you this because your address is kept with the people of ${yardName ?? "a yard"}. You can take it away there.`,
    topic: emailTopic(notice),
  });
}

/** Paths lead nowhere from a letter: they become addresses, or are left out where this server's own isn't known. */
function withAbsoluteLinks(part: EmailSection, home: string | null): EmailSection {
  if (part.kind !== "list" || part.links === undefined) return part;
  const { links, ...list } = part;
  return home === null ? list : { ...list, links: links.map((path) => `${home}${path}`) };
}

/** One alarm's letters stand together; the same fault of another week is another story. */
const emailTopic = ({ topic, raisedAt }: NotificationContent): string =>
  raisedAt === undefined ? topic : `${topic} ${raisedAt}`;

function linkText({ actions: answers = [] }: NotificationContent): string {
  return answers.includes("acknowledge") ? "Look at it, and say that you have seen it" : "Look at it";
}

/** The usual caution where the fault, or what one does about it, can hurt. Words of the client's page of cautions. */
function cautionOf({ fault, isClosing }: NotificationContent): string | null {
  return fault === null || isClosing ? null : (cautions[fault] ?? null);
}

const movingParts =
  "switch off and unplug before you open it: a motor that is stuck can start again, and a pause doesn't make it safe to touch.";
const electricity = "outdoor electrics and mains are work for licensed hands; unplug before you look at wires.";

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
  chargingInFrost: "never charge lithium cells below 0 °C, nor a frozen, swollen or leaking battery of any kind.",
  batteryFreezing:
    "never charge a frozen, swollen or leaking battery; bring it in to thaw where nothing can catch fire.",
};
