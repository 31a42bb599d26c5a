import { join } from "node:path";
import ts from "typescript";
import { projectFolder } from "./imports.ts";
import { textProgram } from "./textProgram.ts";

/**
 * The texts of the server's language that no file takes, such as "faults.foodLow.title". A text is taken by its name, by a key
 * that the compiler knows, or with all its neighbours where their object is handed on as a whole.
 * @param files those that may take texts; `changed` as in textProgram
 */
export function unusedTexts(
  files: readonly string[],
  changed: ReadonlyMap<string, string> = new Map(),
): readonly string[] {
  const program = textProgram([...files, languageIndex], changed);
  const checker = program.getTypeChecker();
  const languageFolder = join(projectFolder, "server/text/en/");
  const used = new Set<ts.Node>();

  const isLanguage = (symbol: ts.Symbol | undefined): boolean =>
    symbol?.declarations?.some((each) => each.getSourceFile().fileName.startsWith(languageFolder)) === true;
  const use = (symbol: ts.Symbol | undefined): void => {
    for (const each of symbol?.declarations ?? []) used.add(each);
  };
  const useAll = (type: ts.Type): void => {
    for (const property of type.getProperties()) {
      if (!isLanguage(property)) continue;
      use(property);
      useAll(checker.getTypeOfSymbol(property));
    }
  };
  const useKeys = (type: ts.Type, key: ts.Type): void => {
    const keys = key.isUnion() ? key.types : [key];
    if (keys.every((each) => each.isStringLiteral())) for (const { value } of keys) use(type.getProperty(value));
    else useAll(type);
  };
  const visit = (node: ts.Node): void => {
    if (ts.isPropertyAccessExpression(node)) use(checker.getSymbolAtLocation(node.name));
    if (ts.isElementAccessExpression(node))
      useKeys(checker.getTypeAtLocation(node.expression), checker.getTypeAtLocation(node.argumentExpression));
    if (ts.isBindingElement(node) && ts.isObjectBindingPattern(node.parent)) {
      const name = node.propertyName ?? node.name;
      if (ts.isIdentifier(name)) use(checker.getTypeAtLocation(node.parent).getProperty(name.text));
    }
    if (isHandedOn(node)) useAll(checker.getTypeAtLocation(node));
    ts.forEachChild(node, visit);
  };
  for (const file of files) {
    const source = program.getSourceFile(join(projectFolder, file));
    if (source === undefined) throw new Error(`expected to read ${file}`);
    visit(source);
  }

  const unused: string[] = [];
  const collect = (type: ts.Type, path: string): void => {
    for (const property of type.getProperties()) {
      const name = path === "" ? property.name : `${path}.${property.name}`;
      const own = checker.getTypeOfSymbol(property);
      const isText = own.flags & ts.TypeFlags.StringLike || own.getCallSignatures().length > 0;
      if (!isText) collect(own, name);
      else if (!property.declarations?.some((each) => used.has(each))) unused.push(name);
    }
  };
  const index = program.getSourceFile(join(projectFolder, languageIndex));
  for (const area of checker.getExportsOfModule(checker.getSymbolAtLocation(index as ts.Node) as ts.Symbol)) {
    collect(checker.getTypeOfSymbol(area), area.name);
  }
  return unused;
}
const languageIndex = "server/text/en/index.ts";

/** An expression whose value goes on as a whole: not only to one of its properties, and not only to a name in this file. */
function isHandedOn(node: ts.Node): boolean {
  if (!ts.isPropertyAccessExpression(node) && !ts.isElementAccessExpression(node) && !ts.isIdentifier(node))
    return false;
  const { parent } = node;
  if (ts.isPropertyAccessExpression(parent) || ts.isElementAccessExpression(parent) || ts.isTypeQueryNode(parent))
    return false;
  if (ts.isQualifiedName(parent) || ts.isImportSpecifier(parent) || ts.isBindingElement(parent)) return false;
  return !(ts.isVariableDeclaration(parent) && parent.type === undefined) && ts.isExpression(node);
}
