import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { projectFolder } from "./imports.ts";

/**
 * The line of each declaration that "Rules and where they live" names: `path:line`: `name`. `npm run docs:lines` writes the lines into
 * DEVELOPERS.md after code has moved, and a test fails while one of them is wrong.
 */

const sourcePath = String.raw`((?:server|client|test|deploy|prisma)/[\w./-]+\.(?:tsx?|mjs|py))`;
const rulesSection = /^## Rules and where they live$[\s\S]*?(?=^## )/m;
const namesBesideFile = new RegExp(`\`${sourcePath}\`: ((?:\`\\w+\`(?: \\d+)?(?:, )?)+)`, "g");

/** Where `name` is declared in this source, counted from 1; null where it isn't. */
export function declarationLine(source: string, name: string): number | null {
  const declaration = new RegExp(String.raw`\b(?:function\*?|const|let|class|interface|type|def)\s+${name}\b`);
  const index = source.split("\n").findIndex((line) => declaration.test(line));
  return index === -1 ? null : index + 1;
}

/** The document with the present line behind each name of its rules. A name that is not declared there gets none. */
export const withLines = (document: string, read: (path: string) => string): string =>
  document.replace(rulesSection, (section) =>
    section.replace(namesBesideFile, (_, path: string, names: string) => {
      const source = read(path);
      const numbered = names.replace(/`(\w+)`(?: \d+)?/g, (_name, name: string) =>
        [`\`${name}\``, declarationLine(source, name) ?? []].flat().join(" "),
      );
      return `\`${path}\`: ${numbered}`;
    }),
  );

if (process.argv[1] === import.meta.filename) {
  const file = join(projectFolder, "DEVELOPERS.md");
  writeFileSync(
    file,
    withLines(readFileSync(file, "utf8"), (path) => readFileSync(join(projectFolder, path), "utf8")),
  );
}
