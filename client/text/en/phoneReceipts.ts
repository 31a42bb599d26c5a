/** What a phone has shown, on the page of the phones. */
export const neverDisplayedText = "No notification shown yet.";
export const lastDisplayedText = (time: string) => `Last notification shown ${time}.`;
export const receiptTexts = {
  pending: "Waiting for confirmation…",
  displayed: "The phone showed the notification.",
  missing: "Not shown within 30 seconds. Check that the phone is on, connected and does not block notifications.",
  none: "",
} as const;
