/** HTML whose parts are escaped. Only `html` makes it, so that a text from elsewhere can't bring tags along. */
export class Html {
  readonly text: string;
  constructor(text: string) {
    this.text = text;
  }
}

type Part = Html | string | number | readonly Html[];

/** @returns the template with every part escaped, but for parts that are HTML already. */
export function html(strings: TemplateStringsArray, ...parts: readonly Part[]): Html {
  return new Html(strings.reduce((whole, string, index) => whole + textOf(parts[index - 1] ?? "") + string));
}

function textOf(part: Part): string {
  if (part instanceof Html) return part.text;
  if (typeof part === "object") return part.map(({ text }) => text).join("\n");
  return String(part).replace(/[&<>"']/g, (character) => escapes[character] ?? character);
}

const escapes: Readonly<Record<string, string>> = {
  "&": "&amp;",
  "<": "&lt;",
  ">": "&gt;",
  '"': "&quot;",
  "'": "&#39;",
};

export const emptyHtml = html``;

/** A plain text with `code` between backticks. */
export function prose(text: string): Html {
  const parts = text.split("`");
  return html`${parts.map((part, index) => (index % 2 === 1 ? html`<code>${part}</code>` : html`${part}`)).reduce((whole, part) => html`${whole}${part}`)}`;
}

/** An example: it can be scrolled by keyboard too (WCAG 2.2, 2.1.1), so it takes the focus and has a name. */
export const example = (name: string, content: object | string, id?: string): Html => html`<figure class="example">
<figcaption>${name}</figcaption>
<pre tabindex="0" role="group" aria-label="${name}"${id === undefined ? emptyHtml : html` id="${id}"`}><code>${
  typeof content === "string" ? content : JSON.stringify(content, null, 2)
}</code></pre>
</figure>`;
