import ts from "typescript";

/** @returns a sentence for each mention in the code (not in comments, strings or types) of what is in the table of reasons. */
export function findImpurities(path: string, text: string, reasons: Readonly<Record<string, string>>): string[] {
  const file = ts.createSourceFile(path, text, ts.ScriptTarget.Latest, true);
  const found: string[] = [];
  const visit = (node: ts.Node): void => {
    const name = mentioned(node);
    const reason = name !== null && Object.hasOwn(reasons, name) ? reasons[name] : undefined;
    if (reason !== undefined) {
      const { line } = file.getLineAndCharacterOfPosition(node.getStart());
      found.push(`${path}:${line + 1} uses ${name}: ${reason}`);
    }
    ts.forEachChild(node, visit);
  };
  visit(file);
  return found;
}

function mentioned(node: ts.Node): string | null {
  if (ts.isAwaitExpression(node) || node.kind === ts.SyntaxKind.AwaitKeyword) return "await";
  if (node.kind === ts.SyntaxKind.AsyncKeyword) return "async";
  if (ts.isNewExpression(node)) {
    return node.arguments?.length ? null : `new ${node.expression.getText()}()`;
  }
  if (ts.isPropertyAccessExpression(node)) return node.getText().replace(/\s/g, "");
  if (ts.isIdentifier(node) && !isNameOfAMember(node)) return node.text;
  return null;
}

/** `order.process` or `{ process: 1 }` only happen to be called so. */
function isNameOfAMember(node: ts.Identifier): boolean {
  const { parent } = node;
  if (ts.isPropertyAccessExpression(parent)) return parent.name === node;
  if (ts.isPropertyAssignment(parent) || ts.isPropertySignature(parent)) return parent.name === node;
  return ts.isQualifiedName(parent);
}
