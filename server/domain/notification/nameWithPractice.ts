import { texts } from "../../text/index.ts";
/** A feeder's name at the start of its titles: a practice feeder is marked everywhere. */
export const nameWithPractice = ({ name, practice }: { readonly name: string; readonly practice: boolean }): string =>
  practice ? texts.notification.practiceName(name) : name;
