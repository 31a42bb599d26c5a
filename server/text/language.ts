/** The language of all that the server says to people: the folder in `text/` that `index.ts` takes. */
export const language = "en";

/** For dates and numbers, as BCP 47 (RFC 5646) names it. */
const locales = { en: "en-GB" } as const;
export const locale: string = locales[language];
