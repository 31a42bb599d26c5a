import type { FaultKind } from "../faults.ts";
import type { Notice } from "../notification.ts";
import { letterOn } from "./frame.ts";
import type { Letter, LetterPart } from "./letter.ts";

export interface LetterOf {
  readonly yardName: string | null; // null where it speaks of no yard, as a letter that only tries the way does
  readonly feederName: string | null; // null where it speaks of the whole yard
  /** The page of what it speaks of; null where no public address is known. */
  readonly link: string | null;
  /** Where keepers reach this server, without a slash at its end; left out or null where it isn't known. */
  readonly home?: string | null;
}

/** A notice as a letter: what it says, where, what may hurt, and the way to the page where it can be answered. */
export function letterOf(notice: Notice, { yardName, feederName, link, home = null }: LetterOf): Letter {
  const caution = cautionOf(notice);
  const place = [
    ...(feederName === null ? [] : [`Feeder: ${feederName}.`]),
    ...(yardName === null ? [] : [`Yard: ${yardName}.`]),
  ];
  return letterOn({
    subject: notice.title,
    title: notice.title,
    parts: [
      ...(notice.letter?.map((part) => withAddresses(part, home)) ?? [{ kind: "words" as const, words: notice.body }]),
      ...(caution === null ? [] : [{ kind: "caution" as const, words: caution }]),
      { kind: "words", words: place.join(" ") },
    ],
    link: link === null ? null : { words: linkWords(notice), address: link },
    foot: `Pieward sent you this because your address is kept with the people of ${yardName ?? "a yard"}. You can take it away there.`,
    topic: topicOf(notice),
  });
}

/** Paths lead nowhere from a letter: they become addresses, or are left out where this server's own isn't known. */
function withAddresses(part: LetterPart, home: string | null): LetterPart {
  if (part.kind !== "list" || part.opens === undefined) return part;
  const { opens, ...list } = part;
  return home === null ? list : { ...list, opens: opens.map((path) => `${home}${path}`) };
}

/** One alarm's letters stand together; the same fault of another week is another story. */
const topicOf = ({ topic, raisedAt }: Notice): string => (raisedAt === undefined ? topic : `${topic} ${raisedAt}`);

function linkWords({ answers = [] }: Notice): string {
  return answers.includes("acknowledge") ? "Look at it, and say that you have seen it" : "Look at it";
}

/** The usual caution where the fault, or what one does about it, can hurt. Words of the client's page of cautions. */
function cautionOf({ fault, closes }: Notice): string | null {
  return fault === null || closes ? null : (cautions[fault] ?? null);
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
