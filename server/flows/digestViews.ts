import type { DigestView } from "../contract/api.ts";
import type { StoredDigest } from "../ports.ts";

/**
 * A digest as it was written, and the dates of the others. The title ends with the result after its last colon; the yard's name
 * comes before.
 */
export const digestView = (yard: string, digest: StoredDigest, dates: readonly string[]): DigestView => ({
  yard,
  date: digest.localDate,
  title: digest.title,
  summary: digest.title.slice(digest.title.lastIndexOf(": ") + 2),
  sections: digest.sections,
  dates,
});
