import ts from "typescript";

/**
 * Finds texts for people in a source file: they belong in `client/text/<language>/`. A program can't know which string is
 * read by a person, so it goes by the form and the place of a string:
 * - text in JSX,
 * - text in an attribute or property that is shown or read out,
 * - a string or template of several words,
 * - one capitalized word,
 * - a date or number that is formatted by hand.
 */
export interface HardCodedText {
  readonly line: number;
  readonly text: string;
}

/** What else is for programs and engineers, where another part of the project is checked. */
interface NoTexts {
  readonly functions?: RegExp;
  readonly properties?: ReadonlySet<string>;
}

/** Attributes and properties whose value is shown or read out. */
const readByPeople = new Set(
  "alt aria-label ariaLabel aria-description body caption detail headline hint label legend placeholder problem summary title tooltip unit".split(
    " ",
  ),
);
/** Attributes and properties for programs: style sheets, drawings, forms, requests. */
const forPrograms = new Set(
  (
    "accept-language autocomplete autocapitalize class className content-type credentials d fill headers href id key " +
    "mode pattern points preserveAspectRatio rel stroke transform type viewBox"
  ).split(" "),
);
/** Functions whose strings only programs and engineers see. */
const engineersOnly =
  /^(console\.\w+|new (\w*Error|URL|RegExp|CustomEvent|Request)|Error|RegExp|fetch|request|querySelector|closest|matches|matchMedia|getElementById|createElement|addEventListener|removeEventListener|postMessage|startsWith|endsWith|import|open)$/;
/** Capitalized names of the language and the browser. */
const programNames = new Set(["Escape", "Enter", "Tab", "Notification", "PushManager", "Infinity", "UTC"]);

export function findHardCodedText(fileName: string, source: string, more: NoTexts = {}): readonly HardCodedText[] {
  const isForEngineers = (name: string) => engineersOnly.test(name) || more.functions?.test(name) === true;
  const file = ts.createSourceFile(fileName, source, ts.ScriptTarget.Latest, true);
  const found: HardCodedText[] = [];
  const report = (node: ts.Node, text: string) =>
    found.push({ line: file.getLineAndCharacterOfPosition(node.getStart(file)).line + 1, text: text.trim() });

  const visit = (node: ts.Node): void => {
    if (ts.isImportDeclaration(node) || ts.isExportDeclaration(node) || ts.isTypeNode(node)) return;
    if (ts.isCallExpression(node) || ts.isNewExpression(node)) {
      if (isForEngineers(calledName(node))) {
        node.arguments?.filter((each) => !isPlainText(each)).forEach(visit);
        return;
      }
      if (isOwnFormat(node)) report(node, node.getText(file));
    }
    if (ts.isJsxText(node) && hasLetters(node.text)) report(node, node.text);
    else if (isPlainText(node) && isForPeople(node) && !more.properties?.has(placeOf(node) ?? ""))
      report(node, node.getText(file));
    ts.forEachChild(node, visit);
  };
  visit(file);
  return found;
}

const hasLetters = (text: string) => /\p{L}/u.test(text);
const isPlainText = (
  node: ts.Node,
): node is ts.StringLiteral | ts.TemplateExpression | ts.NoSubstitutionTemplateLiteral =>
  ts.isStringLiteral(node) || ts.isTemplateExpression(node) || ts.isNoSubstitutionTemplateLiteral(node);

function isForPeople(node: ts.StringLiteral | ts.TemplateExpression | ts.NoSubstitutionTemplateLiteral): boolean {
  if (ts.isBinaryExpression(node.parent) && isComparison(node.parent)) return false;
  const place = placeOf(node);
  if (place !== null && forPrograms.has(place)) return false;
  const parts = ts.isTemplateExpression(node)
    ? [node.head.text, ...node.templateSpans.map(({ literal }) => literal.text)]
    : [node.text];
  if (place !== null && readByPeople.has(place)) return parts.some(hasLetters);
  const [only = ""] = parts;
  if (parts.length === 1 && /^\p{Lu}\p{Ll}+[.…:!?]?$/u.test(only)) return !programNames.has(only);
  return parts.some((part) => looksLikeProse(part, parts.length > 1));
}

/** Words with a space between them; in a template also one word beside a value. Lines of settings ("a=b c=d") are none. */
const looksLikeProse = (text: string, isPart: boolean) =>
  /\p{L}[\p{L}’']*[,.:;!?]? \p{L}/u.test(text) ||
  (isPart && /(^|\s)\p{L}{2,}[,.:;!?]?\s|\s\p{L}{2,}[,.:;!?]?(\s|$)/u.test(text));

/** The nearest attribute or property that the string is a value of. */
function placeOf(node: ts.Node): string | null {
  let child = node;
  for (let parent = node.parent; parent !== undefined; child = parent, parent = parent.parent) {
    if (ts.isJsxAttribute(parent)) return parent.name.getText();
    if (ts.isPropertyAssignment(parent)) return parent.initializer === child ? nameOf(parent.name) : "key";
    if (ts.isElementAccessExpression(parent) && parent.argumentExpression === child) return "key";
    const isValue =
      (ts.isConditionalExpression(parent) && parent.condition !== child) ||
      (ts.isBinaryExpression(parent) && !isComparison(parent)) ||
      ts.isParenthesizedExpression(parent) ||
      ts.isJsxExpression(parent) ||
      ts.isTemplateSpan(parent) ||
      ts.isTemplateExpression(parent) ||
      ts.isAsExpression(parent);
    if (!isValue) return null;
  }
  return null;
}
const isComparison = ({ operatorToken }: ts.BinaryExpression) => /^[!=]==?$|^in$/.test(operatorToken.getText());
const nameOf = (name: ts.PropertyName) => (ts.isStringLiteral(name) || ts.isIdentifier(name) ? name.text : null);

function calledName(node: ts.CallExpression | ts.NewExpression): string {
  const { expression } = node;
  if (ts.isNewExpression(node)) return `new ${expression.getText()}`;
  if (ts.isPropertyAccessExpression(expression)) {
    return expression.expression.getText() === "console" ? expression.getText() : expression.name.text;
  }
  return expression.kind === ts.SyntaxKind.ImportKeyword ? "import" : expression.getText();
}

/** `Intl` with a language of its own, or the browser's formats, which go by the browser's language. */
function isOwnFormat(node: ts.CallExpression | ts.NewExpression): boolean {
  const name = calledName(node);
  if (/^Intl\.\w+Format$/.test(node.expression.getText())) return (node.arguments?.length ?? 0) > 0;
  return /^toLocale(Date|Time)?String$/.test(name);
}
