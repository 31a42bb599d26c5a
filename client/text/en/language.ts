/** For dates and numbers, as BCP 47 (RFC 5646) names it. Hours run from 00 to 23 in every language. */
export const locale = "en-GB";
export const languageTag = "en";
