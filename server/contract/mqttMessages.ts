import { z } from "zod";
import { problemSchema } from "./linkFrames.ts";
import { sentPlanSchema } from "./plan.ts";
import { answerSchema, sentOrderSchema } from "./report.ts";

/** Reports over a broker (MQTT 3.1.1 and 5): each feeder has its own topics, so that the broker's access list can keep them apart. */

export type MqttTopic = "report" | "answer" | "orders" | "plan" | "status";

const topicStart = "pieward/feeders";

/** @param feeder its id, or `+` for all feeders */
export const mqttTopic = (feeder: string, topic: MqttTopic): string => `${topicStart}/${feeder}/${topic}`;

/** @returns null for a topic that no feeder sends to */
export function readMqttTopic(text: string): { readonly feeder: string; readonly topic: "report" | "status" } | null {
  const [, feeder, topic] = /^pieward\/feeders\/([a-z0-9-]{1,64})\/(report|status)$/.exec(text) ?? [];
  return feeder === undefined ? null : { feeder, topic: topic as "report" | "status" };
}

/** What an answer has beside the answer itself. */
const reply = {
  to: z
    .string()
    .nullable()
    .meta({ description: "The `mac` of the report that this answers; null where it had none that could be read." }),
  nonce: z.string().meta({ description: "Sign the next report with it. Good for five minutes." }),
};
const until = z.iso.datetime().meta({
  description: "Until when this message counts. Ignore an older one: a broker without MQTT 5 keeps it for ever.",
});

/** What the server publishes, by what it contains; the first two on `answer`, the others retained on a topic of their own. */
export const mqttMessageSchemas = {
  answer: z.object({ ...reply, answer: answerSchema }),
  problem: z.object({ ...reply, problem: problemSchema }),
  orders: z.object({ until, orders: z.array(sentOrderSchema) }),
  plan: z.object({ until, plan: sentPlanSchema.nullable() }),
};

export type MqttMessage = {
  [Name in keyof typeof mqttMessageSchemas]: z.infer<(typeof mqttMessageSchemas)[Name]>;
};

/** On `status`: what a feeder says of its own connection, or its last will says for it. */
export const mqttStatusSchema = z.looseObject({ online: z.boolean() });

/** The line in front of the report; a usual one has some 150 characters. */
export const signatureLineMax = 1_000;
