import { emptyHtml, type Html, html, prose } from "./html.ts";
import { type JsonSchema, type SchemaRow, schemaRows } from "./schemaRows.ts";

/** A schema's fields as a table; on a narrow screen each row becomes a short list. */
export function fieldTable(caption: string, schema: JsonSchema, { deep = true, more = {} }: TableOptions = {}): Html {
  const rows = schemaRows(schema, deep);
  if (rows.length === 0) return html`<p class="none">${caption}: no fields of its own.</p>`;
  return html`<table class="fields" role="table">
<caption>${caption}</caption>
<thead role="rowgroup"><tr role="row"><th scope="col" role="columnheader">Field</th><th scope="col" role="columnheader">Value</th><th scope="col" role="columnheader">Meaning</th></tr></thead>
<tbody role="rowgroup">
${rows.map((row) => fieldRow(row, more[row.path] ?? ""))}
</tbody>
</table>`;
}

function fieldRow(row: SchemaRow, more: string): Html {
  const range = [row.range, row.unit].filter((text) => text !== "").join("\u00a0");
  return html`<tr role="row" data-field="${row.path}"><th scope="row" role="rowheader"><code>${row.path}</code>${
    row.required ? html` <span class="must">required</span>` : emptyHtml
  }</th><td role="cell">${row.type}${range === "" ? emptyHtml : html`<br><span class="range">${range}</span>`}</td><td role="cell">${prose(
    [row.description, more].filter((text) => text !== "").join(" "),
  )}</td></tr>`;
}

interface TableOptions {
  readonly deep?: boolean; // false: the outermost fields only
  readonly more?: Readonly<Record<string, string>>; // text for a field besides its own description
}
