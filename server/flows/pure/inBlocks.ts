const blockLength = 64 * 1_024;

/** Lines of a file in blocks: a write for each line would cost more than the line. */
export async function* inBlocks(lines: AsyncIterable<string>): AsyncGenerator<string> {
  let block = "";
  for await (const line of lines) {
    block += line;
    if (block.length < blockLength) continue;
    yield block;
    block = "";
  }
  if (block !== "") yield block;
}
