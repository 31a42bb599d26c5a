/** A letter to a keeper. Text and HTML say the same: whoever reads one misses nothing of the other. */
export interface Email {
  readonly subject: string; // one line
  readonly text: string;
  readonly html: string;
  /** Letters with the same topic stand together in the keeper's mail program. */
  readonly topic: string;
}

/** What stands in a letter, from top to bottom. */
export type EmailSection =
  | { readonly kind: "paragraphs"; readonly text: string }
  | { readonly kind: "heading"; readonly text: string }
  /** `opens`: each item's page, as an address where it is known and as a path of this server else. */
  | { readonly kind: "list"; readonly items: readonly string[]; readonly links?: readonly string[] }
  /** What may hurt somebody: it stands out in both forms. */
  | { readonly kind: "caution"; readonly text: string };

export interface EmailDraft {
  readonly subject: string;
  /** The letter's first line; it may say more than the subject. */
  readonly title: string;
  readonly sections: readonly EmailSection[];
  /** The page that shows more; null where no public address is known. */
  readonly link: { readonly text: string; readonly address: string } | null;
  /** Last, and small: why this letter came, and how to have no more of them. */
  readonly footer: string;
  readonly topic: string;
}
