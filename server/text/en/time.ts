export const time = {
  every: (span: string) => `every ${span}`,
  everyUnit: { second: "every second", minute: "every minute", hour: "every hour", day: "every day" },
  today: "today",
  tomorrow: "tomorrow",
  yesterday: "yesterday",
  moment: (day: string, clock: string) => `${day} ${clock}`,
  lastNight: "last night",
  thisPart: { night: "tonight", morning: "this morning", afternoon: "this afternoon", evening: "this evening" },
  tomorrowPart: {
    night: "tonight",
    morning: "tomorrow morning",
    afternoon: "tomorrow afternoon",
    evening: "tomorrow evening",
  },
  yesterdayPart: {
    night: "yesterday night",
    morning: "yesterday morning",
    afternoon: "yesterday afternoon",
    evening: "yesterday evening",
  },
};
