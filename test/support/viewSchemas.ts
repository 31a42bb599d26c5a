import ts from "typescript";
import type { JsonSchema } from "../../server/routes/documentation/schemaRows.ts";

/** The JSON Schemas of the exported interfaces of files, by name, as TypeScript itself understands them. */
export function viewSchemas(files: readonly string[]): Record<string, JsonSchema> {
  const program = ts.createProgram(files, {
    strict: true,
    target: ts.ScriptTarget.ES2023,
    allowImportingTsExtensions: true,
    noEmit: true,
    module: ts.ModuleKind.ESNext,
    moduleResolution: ts.ModuleResolutionKind.Bundler,
    exactOptionalPropertyTypes: true,
    skipLibCheck: true,
  });
  const checker = program.getTypeChecker();
  const statements = files.flatMap((file) => {
    const source = program.getSourceFile(file);
    if (source === undefined) throw new Error(`expected a source file at ${file}`);
    return [...source.statements];
  });
  const views = statements
    .filter(ts.isInterfaceDeclaration)
    .map(({ name }) => [name.text, checker.getTypeAtLocation(name)] as const);
  return Object.fromEntries(views.map(([name, type]) => [name, { title: name, ...schemaOf(type, checker, name) }]));
}

/** @throws Error at a type that an answer in JSON can't have, or that this doesn't know yet. */
function schemaOf(type: ts.Type, checker: ts.TypeChecker, at: string): JsonSchema {
  if (type.isUnion()) return unionOf(type.types, checker, at);
  if (type.isStringLiteral() || type.isNumberLiteral()) return { const: type.value };
  if (type.flags & ts.TypeFlags.BooleanLiteral) return { const: checker.typeToString(type) === "true" };
  if (type.flags & ts.TypeFlags.String) return { type: "string" };
  if (type.flags & ts.TypeFlags.Number) return { type: "number" };
  if (type.flags & ts.TypeFlags.Null) return { type: "null" };
  if (checker.isArrayType(type)) {
    const [item] = checker.getTypeArguments(type as ts.TypeReference);
    return { type: "array", items: schemaOf(item as ts.Type, checker, `${at}[]`) };
  }
  if (type.flags & ts.TypeFlags.Object) return objectOf(type, checker, at);
  throw new Error(`${at} is ${checker.typeToString(type)}, of which no schema can be made`);
}

function unionOf(types: readonly ts.Type[], checker: ts.TypeChecker, at: string): JsonSchema {
  const literals = types.filter((type) => type.isStringLiteral());
  const booleans = types.filter((type) => type.flags & ts.TypeFlags.BooleanLiteral);
  const others = types.filter(
    (type) =>
      !literals.includes(type as ts.StringLiteralType) &&
      !(booleans.length === 2 && booleans.includes(type)) &&
      !(type.flags & ts.TypeFlags.Undefined),
  );
  const schemas: JsonSchema[] = [
    ...(literals.length === 0
      ? []
      : [{ type: "string", enum: literals.map((one) => (one as ts.StringLiteralType).value) }]),
    ...(booleans.length === 2 ? [{ type: "boolean" }] : []),
    ...others.map((one) => schemaOf(one, checker, at)),
  ];
  const sorted = schemas.sort((a, b) => Number(a.type === "null") - Number(b.type === "null"));
  return sorted.length === 1 && sorted[0] !== undefined ? sorted[0] : { anyOf: sorted };
}

function objectOf(type: ts.Type, checker: ts.TypeChecker, at: string): JsonSchema {
  const fields = checker.getPropertiesOfType(type);
  const properties = fields.map((field) => {
    const description = commentOf(field);
    const schema = schemaOf(checker.getTypeOfSymbol(field), checker, `${at}.${field.name}`);
    return [field.name, description === "" ? schema : { ...schema, description }] as const;
  });
  const required = fields.filter(({ flags }) => !(flags & ts.SymbolFlags.Optional)).map(({ name }) => name);
  return { type: "object", properties: Object.fromEntries(properties), required, additionalProperties: false };
}

/** The comment of a field, before it or at the end of its line. */
function commentOf(field: ts.Symbol): string {
  const declaration = field.declarations?.[0];
  if (declaration === undefined || !/server\/contract\//.test(declaration.getSourceFile().fileName)) return "";
  const text = declaration.getSourceFile().text;
  const before = (ts.getLeadingCommentRanges(text, declaration.getFullStart()) ?? []).filter(
    ({ kind }) => kind === ts.SyntaxKind.MultiLineCommentTrivia,
  );
  const after = ts.getTrailingCommentRanges(text, declaration.getEnd()) ?? [];
  return [...before, ...after]
    .map(({ pos, end }) =>
      text
        .slice(pos, end)
        .replace(/^\/\*\*?|\*\/$|^\/\/|^\s*\*/gm, "")
        .replace(/\s+/g, " ")
        .trim(),
    )
    .join(" ");
}
