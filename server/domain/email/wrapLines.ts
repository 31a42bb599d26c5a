/**
 * The words broken into lines of at most that many characters; a word that is longer, such as an address, stays whole. Each
 * further line begins with `indent`.
 */
export function wrapLines(words: string, columns: number, indent = ""): string {
  const lines: string[] = [];
  let line = "";
  for (const word of words.split(" ")) {
    if (line !== "" && [...line].length + 1 + [...word].length > columns) {
      lines.push(line);
      line = word;
    } else {
      line = line === "" ? word : `${line} ${word}`;
    }
  }
  return [...lines, line].join(`\n${indent}`);
}
