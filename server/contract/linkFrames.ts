import { z } from "zod";
import type { ProblemView } from "./api.ts";
import { sentPlanSchema } from "./plan.ts";
import { answerSchema, sentOrderSchema } from "./report.ts";

/** RFC 9457 problem details, as every refusal has them. */
export const problemSchema = z.object({
  type: z.string().meta({ description: "Always about:blank: `status` and `title` have the kind of problem." }),
  title: z.string().meta({ description: "The kind of problem, as text." }),
  status: z.int().meta({ description: "The HTTP status, also on a socket." }),
  detail: z.string().meta({ description: "What is wrong with this very request." }),
  errors: z
    .array(z.object({ field: z.string(), problem: z.string() }).readonly())
    .readonly()
    .exactOptional()
    .meta({ description: "Each wrong field by its path." }),
}) satisfies z.ZodType<ProblemView>;

/** What the server sends over `/api/v1/link`: each frame is one JSON object with one of these keys. */
export const linkFrameSchemas = {
  answer: z.object({ answer: answerSchema }),
  problem: z.object({ problem: problemSchema }),
  orders: z.object({ orders: z.array(sentOrderSchema) }),
  plan: z.object({ plan: sentPlanSchema.nullable() }),
};

/** Whatever the server sends has this type: a frame that isn't documented doesn't compile. */
export type LinkFrame = {
  [Name in keyof typeof linkFrameSchemas]: z.infer<(typeof linkFrameSchemas)[Name]>;
}[keyof typeof linkFrameSchemas];

/** Of those, what answers a report. */
export type ReportFrame = Extract<LinkFrame, { answer: unknown } | { problem: unknown }>;

/** Why the server closes a socket, with the code and the reason that it sends. */
export const linkCloses = {
  replaced: { code: 4000, reason: "a newer connection took over" },
  keyChanged: { code: 4401, reason: "the key no longer holds" },
  stopping: { code: 1001, reason: "the server is going down" },
} as const;
