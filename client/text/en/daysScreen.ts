export const notFoundTitle = "Days";
export const title = (feeder: string) => `Days of ${feeder}`;
export const chartText =
  "Lines above: visits. Lines below: portions. Dot: deposit. Open dot: deposit without a portion. Flag: alarm. Night is narrower. A day runs from sunset to sunset.";
export const nothingRecordedText = "nothing recorded";
export const notOnPhoneText = "Not saved on this phone.";
export const olderLabel = "Show one more week";
