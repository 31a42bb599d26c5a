import { linkCloses } from "../../contract/linkFrames.ts";
import { orderExample, planExample } from "../../contract/reportExample.ts";
import { pingEveryMilliseconds, tooManyReportsProblem } from "../feederLink.ts";
import { answerExample, answerWithOrder } from "./answerExamples.ts";
import { prosePart } from "./feederPart.ts";
import { fieldTable } from "./fieldTable.ts";
import { emptyHtml, example, type Html, html, prose } from "./html.ts";
import type { FeederRefusal } from "./refusals.ts";
import type { JsonSchema } from "./schemaRows.ts";

/** Orders, the socket that brings them at once, and everything that can be refused. */

export const ordersPart = (): Html => html`<section id="orders">
<h2>Orders</h2>
${prosePart([
  "A keeper can order a feeder to pause and to resume. The order is in `orders` of each answer until the feeder has answered it; an open socket brings it at once.",
])}
<ul>
${[
  "The last order in the list wins. The same `id` again is the same order: carrying it out twice changes nothing.",
  "`pause`: stop the motor, also in the middle of a portion, and give nothing until `until` or until a `resume`. It has to hold through a new start and a power cut.",
  "`resume`: go on. What came in the meantime is not paid for.",
  "Answer each order with an event of kind `order`: outcome `done` once it is carried out (the motor has stopped), or `refused` with the reason in `problem`.",
  "Send the reading `paused` with every report. The keeper sees what the feeder itself reports, and is warned if an order is not answered.",
  "A feeder that does not know the time stays paused after `until`, until it gets the time from an answer's `serverTime`. A feeder without a connection follows its last order.",
].map((text) => html`<li>${prose(text)}</li>`)}
</ul>
${example("An answer with an order", answerWithOrder(), "answer-order")}
${example(
  "The event that answers it",
  JSON.stringify({ seq: 414, uptimeMs: 130_000, kind: "order", order: orderExample.id, outcome: "done" }),
  "order-done",
)}
</section>`;

/** @param frames the schemas of what the server sends, by the frame's one key */
export function linkPart(frames: Readonly<Record<string, JsonSchema>>, reportsPerMinute: number): Html {
  return html`<section id="link">
<h2>Socket: <code>GET /api/v1/link</code></h2>
${prosePart([
  "A WebSocket (RFC 6455) for the same reports. It costs less per report, and an order arrives at once. `ws:` where the page is `http:`, `wss:` where it is `https:`.",
  "A feeder opens it with the same `Authorization` header as a report; a signature is over an empty body. Whoever has no right key is refused with 401 before it opens.",
  "A feeder has one socket. If it opens another, that one takes over and the older one is closed. Both ways of reporting may be mixed.",
])}
<h3 id="link-in">What the feeder sends</h3>
${prosePart([
  "One text frame for each report: the same JSON object as the body of `POST /api/v1/report`, with the same limits. The server answers each frame with one frame, in the order in which they came. Send the next report when the last one is answered.",
])}
${serverFrames(frames, reportsPerMinute)}
<h3 id="link-close">Pings and closing</h3>
${prosePart([
  `The server sends a ping every ${pingEveryMilliseconds / 1000} seconds. A WebSocket library answers it by itself. A socket that has not answered by the next ping is cut.`,
  "When a socket ends, open a new one after some seconds, then wait twice as long each time, up to five minutes. Until then reports go over HTTP.",
])}
${closeTable()}
</section>`;
}

function serverFrames(frames: Readonly<Record<string, JsonSchema>>, reportsPerMinute: number): Html {
  const { answer = {}, problem = {}, orders = {}, plan = {} } = frames;
  const problemFields = problem.properties?.problem ?? {};
  return html`<h3 id="link-out">What the server sends</h3>
${prosePart(["One JSON object in each text frame, with one of these keys. Ignore a key that you don't know."])}
<h4 id="frame-answer"><code>answer</code></h4>
${prosePart(["The report is taken. The same object as the answer over HTTP."])}
${example("A frame with an answer", { answer: answerExample() }, "frame-answer-example")}
${fieldTable("Frame: answer", answer, { deep: false })}
<h4 id="frame-problem"><code>problem</code></h4>
${prosePart([
  "The report is refused. The object is the problem that HTTP would answer (RFC 9457), with its status in `status`. The socket stays open.",
])}
${example(
  "A frame with a problem",
  {
    problem: { type: "about:blank", title: "Too many requests", status: 429, detail: tooOftenDetail(reportsPerMinute) },
  },
  "frame-problem-example",
)}
${fieldTable("Frame: problem", problemFields)}
<h4 id="frame-orders"><code>orders</code></h4>
${prosePart([
  "Orders of a keeper, sent without a report before them: when a keeper gives one, and once when the socket opens if one waits. Answer in the next report, as under Orders.",
])}
${example("A frame with an order", { orders: [orderExample] }, "frame-orders-example")}
${fieldTable("Frame: orders", orders)}
<h4 id="frame-plan"><code>plan</code></h4>
${prosePart([
  "The feeding plan, as soon as a keeper has changed it. It also comes with each answer until `readings.planVersion` says that it is followed.",
])}
${example("A frame with a plan", { plan: planExample }, "frame-plan-example")}
${fieldTable("Frame: plan", plan)}`;
}

const closeTable = (): Html => html`<table class="fields closes" role="table">
<caption>Close codes</caption>
<thead role="rowgroup"><tr role="row"><th scope="col" role="columnheader">Code</th><th scope="col" role="columnheader">Why</th><th scope="col" role="columnheader">What to do</th></tr></thead>
<tbody role="rowgroup">
${closeCodes.map(({ code, why: reason, todo }) => html`<tr role="row" data-close="${code}"><th scope="row" role="rowheader"><code>${code}</code></th><td role="cell">${prose(reason)}</td><td role="cell">${prose(todo)}</td></tr>`)}
</tbody>
</table>`;

const tooOftenDetail = (reportsPerMinute: number) => tooManyReportsProblem(reportsPerMinute).detail;

const { replaced, keyChanged, stopping } = linkCloses;
const closeCodes = [
  {
    code: replaced.code,
    why: `“${replaced.reason}”: the feeder has opened another socket.`,
    todo: "Use the newer socket.",
  },
  {
    code: keyChanged.code,
    why: `“${keyChanged.reason}”: the keeper made a new key or removed the feeder.`,
    todo: "As after a 401.",
  },
  { code: stopping.code, why: `“${stopping.reason}”: it is restarted.`, todo: "Open a new socket after some seconds." },
  {
    code: 1006,
    why: "The connection broke, or a ping was not answered. No code is sent; libraries show this one.",
    todo: "Open a new socket.",
  },
  { code: 1007, why: "A text frame was not UTF-8.", todo: "The sender has a bug: log it." },
  { code: 1009, why: "A frame was larger than 1 MiB.", todo: "Send half as many events in each report." },
];

export const refusalsPart = (refusals: readonly FeederRefusal[]): Html => html`<section id="refusals">
<h2>When a report is refused</h2>
${prosePart([
  "A refusal is `application/problem+json` (RFC 9457). Nothing of the report is stored then, and nothing that was stored before is lost: keep the events.",
  "No answer at all (the connection broke, or nothing came within 30 seconds) does not show what is stored. Send the same report again.",
])}
${[...refusals].sort((a, b) => a.example.status - b.example.status).map(refusalEntry)}
</section>`;

function refusalEntry({
  name,
  when,
  feederAction,
  example: problem,
  reasons = [],
  retryAfter,
  at,
}: FeederRefusal): Html {
  const where = { report: "over HTTP", link: "when a socket is opened", both: "over HTTP and on a socket" }[at];
  const header =
    retryAfter === undefined
      ? emptyHtml
      : html`<p>Over HTTP with the header <code>Retry-After: ${retryAfter}</code>, for example.</p>`;
  return html`<article class="refusal" id="refusal-${name}" data-refusal="${name}" data-status="${problem.status}" data-at="${at}">
<h3><span class="status">${problem.status}</span> ${problem.title} <small>${where}</small></h3>
<p>${prose(when)}</p>
${reasons.length === 0 ? emptyHtml : html`<p>The reason is one of these:</p><ul class="reasons">${reasons.map((reason) => html`<li>${reason}</li>`)}</ul>`}
<p class="todo"><strong>What to do:</strong> ${prose(feederAction)}</p>
${header}
${example(`The problem: ${problem.status}, ${problem.title}`, problem)}
</article>`;
}
