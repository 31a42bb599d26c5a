export const invalidZoneText = (yard: string, zone: string) =>
  `The time zone "${zone}" of ${yard} is not valid. Until you choose another, all times, the daily digest and quiet hours use UTC.`;
export const chooseZoneLabel = "Choose the time zone";
