import { isoOf } from "../instant.ts";
import type { NotificationAction, NotificationContent } from "../notification/content.ts";

/** What the service worker is handed in a push; the declarative form lets a browser that knows it show it without the worker. */
export interface PushPayload {
  readonly web_push: 8030;
  /** A browser that shows it by itself hands it to our worker first: nobody else can prove that it was shown. */
  readonly mutable: true;
  readonly notification: {
    readonly title: string;
    readonly body: string;
    readonly navigate: string;
    readonly tag: string;
    readonly silent: boolean;
    readonly lang: "en";
    readonly data: {
      /** By it the worker tells the server that the notice was shown; null where nobody waits for that word. */
      readonly item: string | null;
      /** Whose alarm an answer goes to; null: nobody's. */
      readonly feeder: string | null;
      readonly fault: string | null;
      readonly priority: string;
      /** When the alarm was raised that it speaks of, ISO 8601 in UTC; null where it speaks of none. */
      readonly raisedAt: string | null;
      /** What can be answered on the screen itself. */
      readonly answers: readonly NotificationAction[];
      /** Nothing is asked any more: what stands with this tag is taken away, and this says quietly why. */
      readonly closes: boolean;
    };
  };
}

/**
 * What fits into one push: a 4,096-octet body less 86 of header, 1 of delimiter and 16 of tag (RFC 8291 section 4,
 * RFC 8030 section 7.2). Counted in UTF-8 octets of the JSON text, not in characters.
 */
export const payloadOctetsMax = 3_993;

/** A title longer than this is shown by no phone; cutting it leaves the room to the body. */
const titleOctetsMax = 300;

/**
 * A notice in the form that a push service carries: W3C Push API's declarative push message, recognised by
 * `web_push: 8030`, so that a browser that knows it shows the notice even where our worker is gone, and hands it to the
 * worker first where it isn't (`mutable`).
 *
 * `item` is the notice's own id in the outbox, random, so that whoever knows it has been handed this very push.
 * `publicUrl` is where keepers reach this server; null where it isn't known. The declarative form asks for an absolute
 * `navigate`; with a relative one such a browser falls back to our worker, which resolves it against its own address.
 * @throws RangeError where even the frame without any words is too long, which no id or address of ours is.
 */
export function pushPayload(
  notice: NotificationContent,
  feeder: string | null,
  publicUrl: string | null = null,
  item: string | null = null,
): PushPayload {
  const { fault, priority, actionTarget, actions: answers = [], isClosing: closes = false } = notice;
  const raisedAt = actionTarget?.raisedAt ?? notice.raisedAt;
  const framed = (title: string, body: string): PushPayload => ({
    web_push: 8030,
    mutable: true,
    notification: {
      title,
      body,
      navigate: pageAddress(feeder, publicUrl, notice.opens),
      tag: notice.topic,
      silent: notice.silent,
      lang: "en",
      data: {
        item,
        feeder: feeder ?? actionTarget?.feeder ?? null,
        fault,
        priority,
        raisedAt: raisedAt === undefined ? null : isoOf(raisedAt),
        answers: closes ? [] : answers,
        closes,
      },
    },
  });
  const title = truncate(notice.title, titleOctetsMax);
  const room = payloadOctetsMax - jsonOctets(framed(title, ""));
  if (room < 0) throw new RangeError(`expected a push frame within ${payloadOctetsMax} octets, got ${-room} too many`);
  return framed(title, truncate(notice.body, room));
}

export function pageAddress(feeder: string | null, publicUrl: string | null, opens?: string): string {
  const path = opens?.slice(1) ?? (feeder === null ? "" : `feeders/${encodeURIComponent(feeder)}`);
  if (publicUrl === null) return `/${path}`;
  // A public address may have a path of its own; without the slash its last part would be replaced.
  return new URL(path, publicUrl.endsWith("/") ? publicUrl : `${publicUrl}/`).href;
}

const graphemes = new Intl.Segmenter("en", { granularity: "grapheme" });
const ellipsis = "…";

/** The text, or as much of it as fits with an ellipsis: never half a character, nor half of an emoji made of several. */
function truncate(text: string, octets: number): string {
  if (octetsInJson(text) <= octets) return text;
  let left = octets - octetsInJson(ellipsis);
  if (left < 0) return "";
  let kept = "";
  // A UTF-16 unit costs at least one octet, so nothing past this length could fit.
  for (const { segment } of graphemes.segment(text.slice(0, left + 1))) {
    left -= octetsInJson(segment);
    if (left < 0) break;
    kept += segment;
  }
  return `${kept.trimEnd()}${ellipsis}`;
}

const utf8 = new TextEncoder();
const jsonOctets = (value: unknown): number => utf8.encode(JSON.stringify(value)).length;
/** A text's own share of a JSON document: escapes count, its two quotes don't. */
const octetsInJson = (text: string): number => jsonOctets(text) - 2;
