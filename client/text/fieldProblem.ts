import * as text from "#text/fieldProblem.ts";

/** The problem of a refused field as plain text. The server's own texts are plain already; those of its schema library are for engineers. */
export function problemText(problem: string): string {
  const bound = /^Too (small|big): expected (number|string) to (?:be|have) [<>]=?(\S+)/.exec(problem);
  if (bound !== null) {
    const [, side, type, limit = ""] = bound;
    if (type === "string" && side === "small" && limit === "1") return text.emptyText;
    const size = type === "string" ? text.charactersText(limit) : limit;
    return side === "small" ? text.atLeastText(size) : text.atMostText(size);
  }
  if (problem.startsWith("Invalid option")) return text.chooseOptionText;
  if (problem.startsWith("Invalid input: expected int")) return text.wholeNumberText;
  if (problem.startsWith("Invalid input: expected number")) return text.numberText;
  return problem;
}
