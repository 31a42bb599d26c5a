/**
 * The text in lines of at most that many characters; a longer word, such as an address, stays whole. Each further line begins
 * with `indent`.
 */
export function wrapLines(text: string, columns: number, indent = ""): string {
  const lines: string[] = [];
  let line = "";
  for (const word of text.split(" ")) {
    if (line !== "" && [...line].length + 1 + [...word].length > columns) {
      lines.push(line);
      line = word;
    } else {
      line = line === "" ? word : `${line} ${word}`;
    }
  }
  return [...lines, line].join(`\n${indent}`);
}
