import { isoOf } from "../instant.ts";
import type { NotificationAction, NotificationContent } from "../notification/content.ts";

/** What the service worker is handed in a push; the declarative form lets a browser that knows it show it without the worker. */
export interface PushPayload {
  readonly web_push: 8030;
  /** A browser that shows it by itself passes it to our worker first: only that can send a display receipt. */
  readonly mutable: true;
  readonly notification: {
    readonly title: string;
    readonly body: string;
    readonly navigate: string;
    readonly tag: string;
    readonly silent: boolean;
    readonly lang: "en";
    readonly data: {
      /** The worker sends its display receipt with this id; null where no receipt is expected. */
      readonly item: string | null;
      /** The feeder whose alarm a response goes to; null: none. */
      readonly feeder: string | null;
      readonly fault: string | null;
      readonly priority: string;
      /** When its alarm was raised, ISO 8601 in UTC; null where it is about no alarm. */
      readonly raisedAt: string | null;
      /** The buttons on the screen. */
      readonly actions: readonly NotificationAction[];
      /** No response is needed any more: the notification with this tag is removed, and this one gives the reason without a sound. */
      readonly isClosing: boolean;
      /** Path of a small picture that our worker fetches with its session, such as the still of an unpaid deposit; null: none. */
      readonly image: string | null;
    };
  };
}

/**
 * What fits into one push: a 4,096-octet body less 86 of header, 1 of delimiter and 16 of tag (RFC 8291 section 4,
 * RFC 8030 section 7.2). Counted in UTF-8 octets of the JSON text, not in characters.
 */
export const payloadOctetsMax = 3_993;

/** No phone shows a longer title; cutting it leaves space for the body. */
const titleOctetsMax = 300;

/**
 * A notification in the form of a push: W3C Push API's declarative push message, recognised by `web_push: 8030`. A browser that
 * supports it shows the notification also without our worker, and passes it to the worker first where there is one (`mutable`).
 *
 * `item` is the notification's id in the outbox, random, so that whoever knows it has received this push.
 * `publicUrl` is where keepers reach this server; null where it isn't known. The declarative form asks for an absolute
 * `navigate`; with a relative one such a browser falls back to our worker, which resolves it against its own address.
 * @throws RangeError where the frame without any text is too long, which can't happen with our ids and addresses.
 */
export function pushPayload(
  content: NotificationContent,
  feeder: string | null,
  publicUrl: string | null = null,
  item: string | null = null,
): PushPayload {
  const { fault, priority, actionTarget, actions: answers = [], isClosing: closes = false } = content;
  const raisedAt = actionTarget?.raisedAt ?? content.raisedAt;
  const framed = (title: string, body: string): PushPayload => ({
    web_push: 8030,
    mutable: true,
    notification: {
      title,
      body,
      navigate: pageAddress(feeder, publicUrl, content.link),
      tag: content.topic,
      silent: content.silent,
      lang: "en",
      data: {
        item,
        feeder: feeder ?? actionTarget?.feeder ?? null,
        fault,
        priority,
        raisedAt: raisedAt === undefined ? null : isoOf(raisedAt),
        actions: closes ? [] : answers,
        isClosing: closes,
        image: closes ? null : (content.image ?? null),
      },
    },
  });
  const title = truncate(content.title, titleOctetsMax);
  const bodyOctetsMax = payloadOctetsMax - jsonOctets(framed(title, ""));
  if (bodyOctetsMax < 0)
    throw new RangeError(`expected a push frame within ${payloadOctetsMax} octets, got ${-bodyOctetsMax} too many`);
  return framed(title, truncate(content.body, bodyOctetsMax));
}

export function pageAddress(feeder: string | null, publicUrl: string | null, link?: string): string {
  const path = link?.slice(1) ?? (feeder === null ? "" : `feeders/${encodeURIComponent(feeder)}`);
  if (publicUrl === null) return `/${path}`;
  // A public address may have a path of its own; without the slash its last part would be replaced.
  return new URL(path, publicUrl.endsWith("/") ? publicUrl : `${publicUrl}/`).href;
}

const graphemes = new Intl.Segmenter("en", { granularity: "grapheme" });
const ellipsis = "…";

/** The text, or as much of it as fits with an ellipsis: never half a character or half an emoji. */
function truncate(text: string, octets: number): string {
  if (octetsInJson(text) <= octets) return text;
  let left = octets - octetsInJson(ellipsis);
  if (left < 0) return "";
  let start = "";
  // A UTF-16 unit costs at least one octet, so nothing past this length could fit.
  for (const { segment } of graphemes.segment(text.slice(0, left + 1))) {
    left -= octetsInJson(segment);
    if (left < 0) break;
    start += segment;
  }
  return `${start.trimEnd()}${ellipsis}`;
}

const utf8 = new TextEncoder();
const jsonOctets = (value: unknown): number => utf8.encode(JSON.stringify(value)).length;
/** A text's own share of a JSON document: escapes count, its two quotes don't. */
const octetsInJson = (text: string): number => jsonOctets(text) - 2;
