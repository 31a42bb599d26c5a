import type { TestServer } from "./testServer.ts";

/** The documentation's page as a reader gets it, its examples and refusals taken from the HTML itself. */
export interface DocumentedPage {
  readonly html: string;
  /** The text of the example with this id. @throws Error where the page has none */
  example(id: string): string;
  readonly refusals: readonly DocumentedRefusal[];
}

export interface DocumentedRefusal {
  readonly name: string;
  readonly status: number;
  readonly at: string; // report, link or both
  readonly problem: Record<string, unknown>;
}

export async function documentedPage(server: TestServer): Promise<DocumentedPage> {
  const answer = await server.app.inject({ url: "/api/docs" });
  if (answer.statusCode !== 200) throw new Error(`expected the page, got ${answer.statusCode}: ${answer.body}`);
  return readPage(answer.body);
}

function readPage(html: string): DocumentedPage {
  return {
    html,
    example(id) {
      const found = html.match(new RegExp(`<pre[^>]* id="${id}"[^>]*><code>([\\s\\S]*?)</code></pre>`))?.[1];
      if (found === undefined) throw new Error(`expected an example ${id} on the page`);
      return unescaped(found);
    },
    refusals: [
      ...html.matchAll(
        /data-refusal="(\w+)" data-status="(\d+)" data-at="(\w+)">[\s\S]*?<code>(\{[\s\S]*?)<\/code><\/pre>/g,
      ),
    ].map(([, name = "", status, at = "", problem = ""]) => ({
      name,
      status: Number(status),
      at,
      problem: JSON.parse(unescaped(problem)),
    })),
  };
}

const characters: Readonly<Record<string, string>> = { amp: "&", lt: "<", gt: ">", quot: '"', "#39": "'" };
const unescaped = (text: string) =>
  text.replace(/&(amp|lt|gt|quot|#39);/g, (_, name: string) => characters[name] ?? "");
