import type { EmailSection } from "../email/email.ts";
import type { Digest } from "./digest.ts";

/** A digest as sections of an e-mail: complete, each section under its heading. */
export const digestEmailSections = ({ sections }: Digest): readonly EmailSection[] =>
  sections.flatMap(({ heading, lines, links }): EmailSection[] => [
    { kind: "heading", text: heading },
    { kind: "list", items: lines, ...(links === undefined ? {} : { links }) },
  ]);
