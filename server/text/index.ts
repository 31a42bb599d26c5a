import * as en from "./en/index.ts";
import { language } from "./language.ts";

/**
 * Every text that people read and the server writes, in the one language of this server. A text is a string, or a function
 * that makes a sentence of values, which come already formatted where a number alone doesn't do (format.ts).
 * A second language is a second folder of the same type, and a line here and in `language.ts`.
 */
export type Texts = Text<typeof en>;

export type Text<T> = T extends string
  ? string
  : T extends (...values: infer Values) => infer Result
    ? (...values: Values) => Text<Result>
    : { readonly [Key in keyof T]: Text<T[Key]> };

const languages: Readonly<Record<typeof language, Texts>> = { en };

export const texts: Texts = languages[language];
