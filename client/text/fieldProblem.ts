/** A refused field in plain words. The server's own are plain already; what its schema says of itself is for programs. */
export function problemText(problem: string): string {
  const bound = /^Too (small|big): expected (number|string) to (?:be|have) [<>]=?(\S+)/.exec(problem);
  if (bound !== null) {
    const [, side, what, limit] = bound;
    if (what === "string" && side === "small" && limit === "1") return "must not be empty";
    const letters = what === "string" ? " characters" : "";
    return `must be at ${side === "small" ? "least" : "most"} ${limit}${letters}`;
  }
  if (problem.startsWith("Invalid option")) return "must be one of those offered";
  if (/^Invalid input: expected int/.test(problem)) return "must be a whole number";
  if (/^Invalid input: expected number/.test(problem)) return "must be a number";
  return problem;
}
