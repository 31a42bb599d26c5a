/** An e-mail to a keeper. Text and HTML have the same content. */
export interface Email {
  readonly subject: string; // one line
  readonly text: string;
  readonly html: string;
  /** E-mails with the same topic are one thread in the keeper's mail program. */
  readonly topic: string;
}

/** A part of an e-mail, from top to bottom. */
export type EmailSection =
  | { readonly kind: "paragraphs"; readonly text: string }
  | { readonly kind: "heading"; readonly text: string }
  /** `links`: each item's page, as an address where it is known, else as a path of this server. */
  | { readonly kind: "list"; readonly items: readonly string[]; readonly links?: readonly string[] }
  /** A danger: emphasized in both forms. */
  | { readonly kind: "caution"; readonly text: string };

export interface EmailDraft {
  readonly subject: string;
  /** The first line; it may be longer than the subject. */
  readonly title: string;
  readonly sections: readonly EmailSection[];
  /** The page that shows more; null where no public address is known. */
  readonly link: { readonly text: string; readonly address: string } | null;
  /** Last, and small: why this e-mail was sent, and how to stop them. */
  readonly footer: string;
  readonly topic: string;
}
