import * as text from "#text/phoneReceipts.ts";
import { dayAndTimeText } from "./clock.ts";

/** "Last notification shown today at 07:31." Only a display receipt counts: a push service just accepts a notification. */
export const lastDisplayText = (lastDisplayedAt: string | null, now: number, zone: string) =>
  lastDisplayedAt === null
    ? text.neverDisplayedText
    : text.lastDisplayedText(dayAndTimeText(lastDisplayedAt, now, zone));

/** The result of a test for one phone, as far as it is known. */
export const testReceiptText = (receipt: keyof typeof text.receiptTexts): string => text.receiptTexts[receipt];
