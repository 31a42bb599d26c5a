import { eventsPerReportMax } from "../../contract/report.ts";
import { eventExamples, leftBehindExample, partlyRefusedExample, reportExample } from "../../contract/reportExample.ts";
import { answerExample, partlyRefusedAnswer } from "./answerExamples.ts";
import { fieldTable } from "./fieldTable.ts";
import { example, type Html, html, prose } from "./html.ts";
import { alternatives, type JsonSchema, withoutNull } from "./schemaRows.ts";
import { signatureExample, signInPython, signInShell } from "./signatureExample.ts";

/** What the maker of a feeder needs: its identity, its reports, and the server's answers. */

export const keysPart = (): Html => html`<section id="keys">
<h2>Identify the feeder</h2>
${prosePart([
  "A keeper adds the feeder and is shown its key once: `pw_` and 43 characters. Each report and each socket proves that the sender has this key, in one of two ways.",
])}
<h3>By key, over https</h3>
${example("The header with the key", `Authorization: Bearer ${signatureExample.key}`)}
<h3 id="signature">By signature, over plain http</h3>
${prosePart([
  "On a home network without https a key could be read by others on that network. Sign instead: the key itself is never sent.",
  "`mac` is HMAC-SHA-256 (RFC 2104), in base64url without padding (RFC 4648, 5), over the characters of `time`, one line feed (byte 10), and the body, byte for byte as it is sent. The secret of the HMAC is the SHA-256 of the whole key, written as 64 small hexadecimal digits.",
  "`feeder` is the feeder's id, which is part of the address of its page. `time` is in whole seconds since 1970 (Unix time), and may be at most five minutes from the server's. ",
  "A feeder without a clock signs a nonce of the server in place of the time: `Signature feeder=…, nonce=…, mac=…`. It takes the first from the header `WWW-Authenticate` of a refusal (a POST without a body gets one), and the next from `Authentication-Info` of each answer to a signed report (`nextnonce`, RFC 7615). A nonce is good for five minutes.",
  "To open a socket, sign an empty body. The frames on it are not signed.",
])}
${example("A worked signature: what goes in", `key     ${signatureExample.key}\nfeeder  ${signatureExample.feeder}\ntime    ${signatureExample.time}\nbody    ${signatureExample.body}`, "signature-parts")}
${example("A worked signature: what comes out", `secret  ${signatureExample.secret}\nmac     ${signatureExample.mac}`, "signature-result")}
${example("The header with the signature", signatureExample.header, "signature-header")}
${example("The same in sh, with openssl", signInShell, "signature-sh")}
${prosePart([
  "In sh the secret is visible in the list of processes while `openssl` runs. Where others have accounts on the feeder's computer, use a program such as this one:",
])}
${example("The same in Python, with its standard library", signInPython, "signature-python")}
</section>`;

/** @param report the schema of a report, @param answer that of its answer, @param reportsPerMinute this server's limit */
export function reportPart(report: JsonSchema, answer: JsonSchema, reportsPerMinute: number): Html {
  const { readings = {}, events = {} } = report.properties ?? {};
  return html`<section id="report">
<h2>Report: <code>POST /api/v1/report</code></h2>
${prosePart([
  "One JSON object (`Content-Type: application/json`) with what the sensors measure now and what happened since. Only `boot` and `sentUptimeMs` are required. A field or a kind of event that the server doesn't know is stored as it came.",
  `At most 1 MiB and ${eventsPerReportMax.toLocaleString("en")} events a report, and ${reportsPerMinute.toLocaleString("en")} reports a minute from one feeder.`,
])}
${example("A report", reportExample, "report-example")}
${fieldTable("The report", report, { deep: false })}
<h3 id="readings">Readings</h3>
${prosePart([
  "All of them are optional: leave out what the feeder can't measure. A number outside its range is not stored; it is named in the answer's `refused`, and the rest of the report is stored.",
])}
${fieldTable("Readings", withoutNull(readings))}
<h3 id="events">Events</h3>
${prosePart([
  "An event is identified by feeder, boot and `seq`. Sent twice with the same content, it is stored once. Sent with other content under a `seq` that is stored already, it is refused by name.",
])}
${eventTables(withoutNull(events).items ?? {})}
${timePart()}
${answerPart(answer)}
</section>`;
}

const timePart = (): Html => html`<h3 id="time">Time, without a clock</h3>
<ul>
${[
  "`uptimeMs` is the number of milliseconds from the feeder's start to the event, by a counter that only grows. `sentUptimeMs` is the same counter at the moment of sending. The server takes the difference from its own time.",
  "A new start is a new `boot`: choose it at random, and count `seq` from 1 again. Never use a boot id twice.",
  "What an earlier boot left unsent goes in reports of its own, under the old `boot` and with `sentUptimeMs: null`. It is history: it counts in the record and raises no alarm.",
  "`sentAt` is the feeder's own clock, if it has one. It is stored and never relied upon.",
].map((text) => html`<li>${prose(text)}</li>`)}
</ul>
${example("What an earlier boot left unsent", leftBehindExample, "report-left-behind")}`;

const answerPart = (answer: JsonSchema): Html => html`<h3 id="answer">The answer</h3>
${prosePart(["It is sent when everything is safe on the server's disk, with status 200."])}
${example("The answer to the report above", answerExample(), "answer-example")}
${fieldTable("The answer, and what to do with it", answer, { more: answerDuties })}
<h3 id="partly">When a part is refused</h3>
${prosePart([
  "One wrong event or reading doesn't take the rest with it: the status is 200, and `refused` names each with its reason. Log it, and don't send it again.",
])}
${example("A report with a wrong event and a reading out of range", partlyRefusedExample, "report-partly")}
${example("Its answer", partlyRefusedAnswer(), "answer-partly")}`;

const answerDuties: Readonly<Record<string, string>> = {
  storedThrough: "Delete events up to this `seq` and no others. null: delete none, and send them again.",
  nextReportSeconds: "Report again after that time, or earlier if something happens.",
  serverTime: "Set a clock by it, if a pause with an end needs one.",
};

function eventTables(items: JsonSchema): Html {
  const kinds = alternatives(items);
  const [first] = kinds;
  const common = Object.keys(first?.properties ?? {}).filter((name) =>
    kinds.every(({ properties = {} }) => name in properties),
  );
  return html`${fieldTable(
    "Every event",
    only(first ?? {}, (name) => common.includes(name) && name !== "kind"),
  )}
${kinds.map((kind) => {
  const name = kind.properties?.kind?.const;
  if (typeof name !== "string")
    return html`<p>${prose(`Any other \`kind\` of up to 40 characters: ${kind.properties?.kind?.description ?? ""}`)}</p>`;
  const shown = eventExamples.find((one) => one.kind === name);
  return html`<h4 id="event-${name}"><code>${name}</code></h4>
${fieldTable(
  `Fields of ${name}`,
  only(kind, (field) => !common.includes(field)),
)}
${shown === undefined ? html`` : example(`An event of kind ${name}`, JSON.stringify(shown), `event-example-${name}`)}`;
})}`;
}

function only(schema: JsonSchema, keep: (name: string) => boolean): JsonSchema {
  return {
    ...schema,
    properties: Object.fromEntries(Object.entries(schema.properties ?? {}).filter(([name]) => keep(name))),
  };
}

export const prosePart = (paragraphs: readonly string[]): Html =>
  html`${paragraphs.map((text) => html`<p>${prose(text)}</p>`)}`;
