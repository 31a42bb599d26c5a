import { createHash } from "node:crypto";

/** A public id of a session or an invitation, made from the stored hash. It gives no access. */
export const idOf = (tokenHash: string): string =>
  createHash("sha256").update(`id of ${tokenHash}`).digest("hex").slice(0, 32);
