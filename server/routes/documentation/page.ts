import { brokerPart } from "./brokerPart.ts";
import { keysPart, prosePart, reportPart } from "./feederPart.ts";
import { example, type Html, html } from "./html.ts";
import { keeperPart } from "./keeperPart.ts";
import { linkPart, ordersPart, refusalsPart } from "./linkPart.ts";
import { answerOf, bodyOf, type OpenApi } from "./openApiShape.ts";
import { feederRefusals } from "./refusals.ts";

/** @returns the whole page about the interface. It needs no script: everything is in the HTML. */
export function documentationPage(document: OpenApi, reportsPerMinute: number): string {
  const report = document.paths["/api/v1/report"]?.post;
  const frames = document.paths["/api/v1/link"]?.get?.["x-frames-from-server"];
  const [body, answer] = [bodyOf(report), answerOf(report)];
  if (body === undefined || answer === undefined || frames === undefined) {
    throw new Error("expected the schemas of the report and of the link in the OpenAPI document");
  }
  return page(html`${startPart()}
${keysPart()}
${reportPart(body, answer, reportsPerMinute)}
${ordersPart()}
${linkPart(frames, reportsPerMinute)}
${brokerPart(reportsPerMinute)}
${refusalsPart(feederRefusals(reportsPerMinute))}
${healthPart()}
${keeperPart(document)}`).text;
}

const contents = [
  ["start", "In short"],
  ["keys", "Identify the feeder"],
  ["report", "Report"],
  ["orders", "Orders"],
  ["link", "Socket"],
  ["mqtt", "Broker"],
  ["refusals", "When a report is refused"],
  ["health", "Is the server well?"],
  ["keepers", "The keeper's routes"],
] as const;

const page = (main: Html): Html => html`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Pieward's interface for feeders</title>
<meta name="description" content="The interface of this server: reports, orders, signatures and refusals.">
<meta name="color-scheme" content="light dark">
<meta name="robots" content="noindex">
<link rel="icon" href="/icon.svg" type="image/svg+xml">
<link rel="stylesheet" href="/api/docs/page.css">
</head>
<body>
<a class="skip" href="#main">Skip to the text</a>
<div class="notebook">
<header>
<a class="name" href="/">Pieward</a>
<h1>Pieward's interface for feeders</h1>
<p>For whoever builds a feeder or writes its program. Version 1.</p>
<p><a href="/api/docs/json" download="pieward-openapi.json">Download this interface as an OpenAPI 3.1 document</a> for tools.</p>
</header>
<nav aria-label="On this page">
<ol>
${contents.map(([id, heading]) => html`<li><a href="#${id}">${heading}</a></li>`)}
</ol>
</nav>
<main id="main" tabindex="-1">
${main}
</main>
<footer><p>This page is made from the same schemas that the server checks reports with.</p></footer>
</div>
</body>
</html>
`;

const startPart = (): Html => html`<section id="start">
<h2>In short</h2>
<ol>
<li>Send a report about once a minute, with what happened since the last answer.</li>
<li>Delete an event only when an answer's <code>storedThrough</code> has reached its <code>seq</code>.</li>
<li>Carry out the last of <code>orders</code>, and confirm it with an event.</li>
<li>When there is no answer, or a refusal, keep the events and send them again later. Sending twice is harmless.</li>
</ol>
${example(
  "The smallest report: replace the address and the key",
  `curl http://192.168.1.20:8080/api/v1/report \\
  -H 'Authorization: Bearer pw_…' \\
  -H 'Content-Type: application/json' \\
  -d "{ \\"boot\\": \\"b-$(od -An -N8 -tx1 /dev/urandom | tr -d ' \\n')\\", \\"sentUptimeMs\\": 60000 }"`,
  "curl",
)}
</section>`;

const healthPart = (): Html => html`<section id="health">
<h2>Is the server well? <code>GET /api/v1/health</code></h2>
${prosePart([
  "Answers 200 as long as its database answers, and 500 if not. It needs no key. A feeder that has to sign and has no clock can take the time from its `Date` header.",
])}
${example("The answer", { status: "well" }, "health-example")}
</section>`;
