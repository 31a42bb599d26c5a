import type { FastifyReply } from "fastify";
import type { z } from "zod";
import type { orderRequest } from "../contract/api.ts";
import { type Instant, instantOf } from "../domain/instant.ts";
import { texts } from "../text/index.ts";
import { sendProblem } from "./problems.ts";

export type OrderEnd =
  | { readonly kind: "valid"; readonly until: Instant | null }
  | { readonly kind: "invalid"; sendTo(reply: FastifyReply): FastifyReply };

/** When a requested order ends by itself, or what is wrong with that time. */
export function orderEnd({ kind, until: request }: z.infer<typeof orderRequest>, now: Instant): OrderEnd {
  const until = request ? instantOf(request) : null;
  if (until !== null && kind === "resume") return invalidEnd(texts.refusals.notForResume);
  if (until !== null && until <= now) return invalidEnd(texts.refusals.inThePast);
  return { kind: "valid", until };
}

const invalidEnd = (problem: string): OrderEnd => ({
  kind: "invalid",
  sendTo: (reply) =>
    sendProblem(reply, {
      status: 400,
      detail: texts.refusals.field("until", problem),
      errors: [{ field: "until", problem }],
    }),
});
