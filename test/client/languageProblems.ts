import { existsSync, readdirSync } from "node:fs";
import { join } from "node:path";
import ts from "typescript";
import { projectFolder } from "../support/imports.ts";

/** English and the language's own library are the same for each comparison: parsed once. */
const parsedFiles = new Map<string, ts.SourceFile>();

/** English is what the other languages are compared with. */
const english = join(projectFolder, "client/text/en");
export const textFiles = readdirSync(english).sort();

/**
 * What is wrong with a language's folder: a file or a text is missing, is left over, or takes other values. The compiler
 * compares, so a sentence about a time must be one in each language.
 * @returns one line for each problem
 */
export function languageProblems(folder: string, content: (path: string) => string | undefined): readonly string[] {
  const missing = textFiles.filter((file) => content(join(folder, file)) === undefined);
  const present = textFiles.filter((file) => !missing.includes(file));
  const checkPath = join(projectFolder, "languageCheck.ts");
  const check = [
    "type Text<T> = T extends string ? string",
    "  : T extends (...values: infer Values) => infer Result ? (...values: Values) => Text<Result>",
    "  : { readonly [Key in keyof T]: Text<T[Key]> };",
    ...present.flatMap((file, index) => [
      `import * as english${index} from ${JSON.stringify(join(english, file))};`,
      `import * as other${index} from ${JSON.stringify(join(folder, file))};`,
      `export const texts${index}: Text<typeof english${index}> = other${index};`,
      `export const names${index}: readonly (keyof typeof english${index})[] = [] as (keyof typeof other${index})[];`,
    ]),
  ].join("\n");

  const options: ts.CompilerOptions = {
    strict: true,
    noEmit: true,
    target: ts.ScriptTarget.ES2023,
    module: ts.ModuleKind.ESNext,
    moduleResolution: ts.ModuleResolutionKind.Bundler,
    allowImportingTsExtensions: true,
    types: [],
    lib: ["lib.es2023.d.ts", "lib.dom.d.ts"],
    skipLibCheck: true,
  };
  const host = ts.createCompilerHost(options);
  const text = (path: string) => (path === checkPath ? check : content(path));
  const { readFile, fileExists } = host;
  host.readFile = (path) => text(path) ?? readFile(path);
  host.fileExists = (path) => text(path) !== undefined || fileExists(path);
  host.directoryExists = (path) => path === folder || existsSync(path);
  const { getSourceFile } = host;
  host.getSourceFile = (path, version, ...more) => {
    if (text(path) !== undefined) return getSourceFile(path, version, ...more);
    const parsed = parsedFiles.get(path) ?? getSourceFile(path, version, ...more);
    if (parsed !== undefined) parsedFiles.set(path, parsed);
    return parsed;
  };
  const program = ts.createProgram([checkPath], options, host);
  // The languages' own files are the compiler's matter like any others.
  const found = program
    .getSemanticDiagnostics(program.getSourceFile(checkPath))
    .map(({ messageText }) => ts.flattenDiagnosticMessageText(messageText, "\n").split("\n").at(-1)?.trim() ?? "");
  return [...missing.map((file) => `${file} is missing`), ...found];
}
