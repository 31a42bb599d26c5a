import { createHash } from "node:crypto";
import type { FastifyReply, FastifyRequest } from "fastify";

/**
 * Strong entity tags from what an answer says (RFC 9110, 8.8.3), so that a tag can't stay the same when the answer changes: neither by a
 * new version of the server nor after a restored backup.
 */
export interface TaggedAnswers {
  /** Answers 304 where the client has the answer that was made from the same, without making it again. @returns whether it did */
  sentNotModified(request: FastifyRequest, reply: FastifyReply, madeFrom: string): boolean;
  /** Answers with the JSON, or with 304 where the client has it. */
  send(request: FastifyRequest, reply: FastifyReply, answer: TaggedAnswer): FastifyReply;
}

export interface TaggedAnswer {
  readonly json: string;
  /** From the same, this process would make the same answer. */
  readonly madeFrom: string;
}

/** @param most of so many answers it remembers what they were made from */
export function createTaggedAnswers(most: number): TaggedAnswers {
  const digests = new Map<string, string>(); // the oldest first
  const remember = (madeFrom: string, digest: string) => {
    digests.delete(madeFrom);
    digests.set(madeFrom, digest);
    for (const oldest of digests.keys()) {
      if (digests.size <= most) break;
      digests.delete(oldest);
    }
  };
  return {
    sentNotModified(request, reply, madeFrom) {
      const digest = digests.get(digestOf(madeFrom));
      const tag = digest === undefined ? null : tagOf(digest, request);
      if (tag === null || !hasTag(request, tag)) return false;
      withTag(reply, tag).status(304).send();
      return true;
    },
    send(request, reply, { json, madeFrom }) {
      const digest = digestOf(json);
      remember(digestOf(madeFrom), digest);
      const tag = tagOf(digest, request);
      withTag(reply, tag);
      return hasTag(request, tag) ? reply.status(304).send() : reply.type("application/json").send(json);
    },
  };
}

const digestOf = (text: string): string => createHash("sha256").update(text).digest("base64url");

/** The same JSON in another compression is another representation (RFC 9110, 8.8.3.3). These headers decide about it. */
const tagOf = (digest: string, { headers }: FastifyRequest): string =>
  `"${digestOf(JSON.stringify([digest, headers["accept-encoding"], headers["x-no-compression"]])).slice(0, 27)}"`;

/** Weak comparison, as If-None-Match has it (RFC 9110, 13.1.2): a proxy may have marked the tag as weak. */
export function hasTag({ headers }: FastifyRequest, tag: string): boolean {
  const wanted = (headers["if-none-match"] ?? "").split(",").map((one) => one.trim().replace(/^W\//, ""));
  return wanted.includes(tag) || wanted.includes("*");
}

/** It is for this person alone, who asks each time whether it still holds: rights and data may have changed. */
const withTag = (reply: FastifyReply, tag: string): FastifyReply =>
  reply.header("etag", tag).header("cache-control", "private, no-cache").header("vary", "accept-encoding");
