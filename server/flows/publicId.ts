import { createHash } from "node:crypto";

/** Names a session or an invitation to the page. It can be made from the stored hash alone, and opens nothing. */
export const idOf = (tokenHash: string): string =>
  createHash("sha256").update(`id of ${tokenHash}`).digest("hex").slice(0, 32);
