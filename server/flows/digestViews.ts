import type { DigestView } from "../contract/api.ts";
import type { StoredDigest } from "../ports.ts";

/** After the last colon of its title stands what it comes to; no name of a yard comes after it. A digest as it was written, and which others there are. */
export const digestView = (yard: string, digest: StoredDigest, dates: readonly string[]): DigestView => ({
  yard,
  date: digest.localDate,
  title: digest.title,
  summary: digest.title.slice(digest.title.lastIndexOf(": ") + 2),
  sections: digest.sections,
  dates,
});
