/** Files of JSON lines as they come, in pieces: a line may be split anywhere. */

export interface NumberedLine {
  readonly number: number; // from 1
  /** Null: it is longer than any line that is written here. */
  readonly text: string | null;
}

/** A note's text is 4,000 characters, and JSON may take six octets for each. */
const lineLengthMax = 64 * 1_024;

/** @throws TypeError where the octets are no UTF-8 */
export async function* linesOf(octets: AsyncIterable<Uint8Array>): AsyncGenerator<NumberedLine> {
  const decoder = new TextDecoder("utf-8", { fatal: true });
  let [rest, number, isTooLong] = ["", 0, false];
  for await (const chunk of octets) {
    const parts = (rest + decoder.decode(chunk, { stream: true })).split("\n");
    rest = parts.pop() as string;
    for (const part of parts) {
      number += 1;
      isTooLong ||= part.length > lineLengthMax;
      if (isTooLong || part.trim() !== "") yield { number, text: isTooLong ? null : part };
      isTooLong = false;
    }
    if (rest.length > lineLengthMax) [rest, isTooLong] = ["", true];
  }
  const last = rest + decoder.decode();
  if (isTooLong || last.trim() !== "") yield { number: number + 1, text: isTooLong ? null : last };
}
