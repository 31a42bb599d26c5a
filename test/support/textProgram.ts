import { existsSync } from "node:fs";
import { dirname, join } from "node:path";
import ts from "typescript";
import { projectFolder } from "./imports.ts";

/**
 * The compiler's view of some files of the server with nothing of `node_modules`, which takes most of the time and says nothing
 * about texts. `changed`: files that are only in memory, or changed there.
 */
export function textProgram(files: readonly string[], changed: ReadonlyMap<string, string>): ts.Program {
  const options: ts.CompilerOptions = {
    strict: true,
    noEmit: true,
    target: ts.ScriptTarget.ES2023,
    module: ts.ModuleKind.ESNext,
    moduleResolution: ts.ModuleResolutionKind.Bundler,
    allowImportingTsExtensions: true,
    types: [],
    lib: ["lib.es2023.d.ts"],
  };
  const host = ts.createCompilerHost(options);
  const { readFile, fileExists, getSourceFile } = host;
  host.readFile = (path) => changed.get(path) ?? readFile(path);
  host.fileExists = (path) => changed.has(path) || fileExists(path);
  host.getSourceFile = (path, version) => {
    const text = changed.get(path);
    return text === undefined ? getSourceFile(path, version) : ts.createSourceFile(path, text, version, true);
  };
  host.resolveModuleNameLiterals = (names, from) =>
    names.map(({ text }) => {
      const resolvedFileName = join(dirname(from), text);
      const isOurs = text.startsWith(".") && (changed.has(resolvedFileName) || existsSync(resolvedFileName));
      return { resolvedModule: isOurs ? { resolvedFileName, extension: ts.Extension.Ts } : undefined };
    });
  return ts.createProgram(
    files.map((file) => join(projectFolder, file)),
    options,
    host,
  );
}
