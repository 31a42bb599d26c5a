import { z } from "zod";
import { mqttMessageSchemas, mqttTopic } from "../../contract/mqttMessages.ts";
import { orderExample, planExample } from "../../contract/reportExample.ts";
import { texts } from "../../text/index.ts";
import { tooManyReportsProblem } from "../feederLink.ts";
import { problemView } from "../problems.ts";
import { answerExample } from "./answerExamples.ts";
import { prosePart } from "./feederPart.ts";
import { fieldTable } from "./fieldTable.ts";
import { example, type Html, html, prose } from "./html.ts";
import type { JsonSchema } from "./schemaRows.ts";
import { signatureExample } from "./signatureExample.ts";

/** Reports over the keeper's own broker, where one is configured. */

const { feederBroker } = texts;
const { feeder, header, body, mac } = signatureExample;

const topics = [
  ["report", "feeder", "The signature in a first line, then the report. Not retained, QoS 1."],
  ["answer", "server", "What became of a report, and the nonce for the next one. Not retained, QoS 1."],
  ["orders", "server", "Orders that wait for the feeder. Retained, QoS 1. Empty: none waits."],
  ["plan", "server", "The plan that waits for the feeder. Retained, QoS 1. Empty: none waits."],
  [
    "status",
    "feeder",
    '`{"online": true}` after it has connected, and `{"online": false}` as its last will. Only a hint: the server then looks sooner, and concludes nothing from it.',
  ],
] as const;

const nonce = "1768467660000.8mXo5kZ0GJqk4pDyMxv1c2nT7bUe3sLw9aRhFgVtQiY";

export function brokerPart(reportsPerMinute: number): Html {
  const { answer, problem, orders, plan } = mqttMessageSchemas;
  const tooOften = problemView(tooManyReportsProblem(reportsPerMinute));
  return html`<section id="mqtt">
<h2>Broker: MQTT</h2>
${prosePart([
  "The same reports over the keeper's own broker, by MQTT 3.1.1 or 5, if the server is connected to one. A feeder needs an account of its own there, and access to its own topics only.",
])}
${topicTable()}
<h3 id="mqtt-report">The report</h3>
${prosePart([
  "The payload is the value that the `Authorization` header has over HTTP, one line feed (byte 10), and the body of `POST /api/v1/report`, byte for byte. Only a signature is taken, never the key: the broker, and whoever may read the topic, would see it.",
  "A nonce is as good as the time. A feeder that has none publishes an empty payload: the refusal brings one, and so does each answer. A report that waited at the broker for more than five minutes is refused with a fresh nonce: sign it again and send it again.",
  "Send one report at a time, with QoS 1. That the broker has it (PUBACK) proves nothing: forget an event only when an answer says `storedThrough`. Without an answer within 30 seconds, send the same again. Sending twice is harmless.",
])}
${example("A report as it is published", `${header.replace("Authorization: ", "")}\n${body}`, "mqtt-report-example")}
<h3 id="mqtt-answer">The answer</h3>
${prosePart([
  "Take it only if `to` is the `mac` of the report that you wait for: one to an earlier report may come late, after a new start even. With MQTT 5 it also has the report's correlation data.",
])}
${example("An answer on the topic answer", { to: mac, nonce, answer: answerExample() }, "mqtt-answer-example")}
${fieldTable("On answer: the report is taken", schemaOf(answer), { deep: false })}
${prosePart(["Refused, it has a `problem` in place of the `answer`, as under When a report is refused."])}
${example("A refusal on the topic answer", { to: mac, nonce, problem: tooOften }, "mqtt-problem-example")}
${fieldTable("On answer: the report is refused", schemaOf(problem), { deep: false })}
${prosePart(["Three reasons are met only here, with the status 401, 403 and 413:"])}
<ul>
${[feederBroker.unsigned, feederBroker.otherTopic("rowan-4f2a9c"), feederBroker.tooLarge].map((reason) => html`<li>${reason}</li>`)}
</ul>
<h3 id="mqtt-retained">Orders and plan</h3>
${prosePart([
  "They are those of the next answer. They wait at the broker until a report says that the order is carried out, or that the plan is followed. An order counts for an hour and a plan for a day, and each is renewed while the server is there. With MQTT 5 the broker drops it at its end. With 3.1.1 look at `until`; a feeder that doesn't know the time ignores a retained message, and waits for its first answer.",
])}
${example("A message on the topic orders", { until: "2026-01-15T10:00:00.000Z", orders: [orderExample] }, "mqtt-orders-example")}
${fieldTable("On orders", schemaOf(orders), { deep: false })}
${example("A message on the topic plan", { until: "2026-01-16T09:00:00.000Z", plan: planExample }, "mqtt-plan-example")}
${fieldTable("On plan", schemaOf(plan), { deep: false })}
</section>`;
}

const schemaOf = (schema: z.ZodType): JsonSchema => z.toJSONSchema(schema) as JsonSchema;

const topicTable = (): Html => html`<table class="fields" role="table">
<caption>Topics</caption>
<thead role="rowgroup"><tr role="row"><th scope="col" role="columnheader">Topic</th><th scope="col" role="columnheader">From</th><th scope="col" role="columnheader">What it is</th></tr></thead>
<tbody role="rowgroup">
${topics.map(([topic, from, what]) => html`<tr role="row" data-topic="${topic}"><th scope="row" role="rowheader"><code>${mqttTopic(feeder, topic)}</code></th><td role="cell">${from}</td><td role="cell">${prose(what)}</td></tr>`)}
</tbody>
</table>`;
