import { z } from "zod";
import { problemSchema } from "../../contract/linkFrames.ts";
import { prosePart } from "./feederPart.ts";
import { fieldTable } from "./fieldTable.ts";
import { emptyHtml, example, type Html, html, prose } from "./html.ts";
import { bodyOf, type OpenApi, type Operation } from "./openApiShape.ts";
import { alternatives, type JsonSchema, withoutNull } from "./schemaRows.ts";

/** The routes of the keeper's page, as a reference list. */

interface Route {
  readonly method: string;
  readonly path: string;
  readonly operation: Operation;
}

export function keeperPart(document: OpenApi): Html {
  const routes = Object.entries(document.paths)
    .filter(([path]) => !feederRoutes.has(path))
    .flatMap(([path, operations]) =>
      Object.entries(operations).map(([method, operation]) => ({ method: method.toUpperCase(), path, operation })),
    )
    .sort((a, b) => a.path.localeCompare(b.path));
  return html`<section id="keepers">
<h2>The keeper's routes</h2>
${prosePart([
  "The page of the keeper uses these. They may change with any version of the server; what feeders use does not change within version 1.",
  "Whoever is signed in sends the cookie `pieward_session`. A request that changes something also needs the header `x-pieward: 1`. Times are ISO 8601 in UTC; units are in the names.",
])}
${routes.map(routeEntry)}
<h3 id="keeper-problems">What they can refuse</h3>
${prosePart(["Each refusal is `application/problem+json` (RFC 9457). Nothing is changed then."])}
<table class="fields" role="table">
<caption>Refusals of the keeper's routes</caption>
<thead role="rowgroup"><tr role="row"><th scope="col" role="columnheader">Status</th><th scope="col" role="columnheader">When</th></tr></thead>
<tbody role="rowgroup">
${keeperProblems.map(([status, when]) => html`<tr role="row" data-keeper-status="${status}"><th scope="row" role="rowheader"><code>${status}</code></th><td role="cell">${prose(when)}</td></tr>`)}
</tbody>
</table>
${fieldTable("A problem", z.toJSONSchema(problemSchema) as JsonSchema)}
</section>`;
}

const feederRoutes: ReadonlySet<string> = new Set(["/api/v1/report", "/api/v1/link", "/api/v1/health"]);

const keeperProblems: readonly (readonly [number, string])[] = [
  [400, "A field is missing or wrong, or the body is no JSON. `errors` names each wrong field."],
  [401, "Nobody is signed in, the session has ended, or name and passphrase don't fit."],
  [
    403,
    "A helper requests what only keepers may change, the header `x-pieward: 1` is missing, or another site's page sends the request.",
  ],
  [404, "There is nothing of this name, or it belongs to a yard of other people."],
  [408, "The request took longer than the server waits."],
  [
    409,
    "It contradicts what is known: the last keeper of a yard can't leave, no practice feeder is running, or there is no e-mail address to test.",
  ],
  [413, "The body is too large (64 KiB)."],
  [415, "The body is no JSON by its content type."],
  [
    429,
    "Too many tries within a minute: signing in, and tests of phones and e-mail. `Retry-After` is the time to wait.",
  ],
  [500, "Something went wrong in the server. It is in the server's log."],
  [503, "The database is locked or the server is overloaded. Try again after `Retry-After`."],
  [507, "The server's disk is full."],
];

function routeEntry({ method, path, operation }: Route): Html {
  const body = bodyOf(operation);
  const parameters = operation.parameters ?? [];
  const given: JsonSchema = {
    properties: Object.fromEntries(parameters.map(({ name, schema = {} }) => [name, schema])),
    required: parameters.filter(({ required }) => required).map(({ name }) => name),
  };
  return html`<details class="route" id="${routeId(method, path)}" data-route="${method} ${path}">
<summary><code><b>${method}</b> ${path}</code> <span>${operation.summary ?? ""}</span></summary>
<p class="who">For ${operation["x-who-may"] ?? "nobody"}.</p>
${parameters.length === 0 ? emptyHtml : fieldTable("In the address", given)}
${body === undefined ? emptyHtml : bodyTables(body)}
${responseList(operation)}
</details>`;
}

/** A body that may be left out is marked, and one of several kinds has a table for each. */
function bodyTables(body: JsonSchema): Html {
  const kinds = alternatives(withoutNull(body));
  const optional = withoutNull(body) === body ? "" : " (may be left out)";
  const shown = body.example === undefined ? emptyHtml : example("An example of the body", body.example as object);
  return html`${kinds.map((kind) => fieldTable(`The body${optional}`, kind))}${shown}`;
}

function responseList({ responses = {} }: Operation): Html {
  const shown = Object.entries(responses).filter(([status]) => status.startsWith("2"));
  return html`${shown.map(([status, { description = "", content = {} }]) => {
    const schema = Object.values(content)[0]?.schema;
    const text = description === "Default Response" ? "" : description;
    if (schema?.properties === undefined) return html`<p class="answers">Answers ${status}. ${prose(text)}</p>`;
    return html`<p class="answers">Answers ${status}. ${prose(text)}</p>${fieldTable(`The answer ${status}`, schema)}`;
  })}`;
}

const routeId = (method: string, path: string) =>
  `route-${method.toLowerCase()}${path.replace("/api/v1", "").replace(/[^a-z0-9]+/gi, "-")}`.replace(/-$/, "");
