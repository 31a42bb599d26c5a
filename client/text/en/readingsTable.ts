export const title = "Latest readings";
export const timesText = (time: string) => `From ${time}.`;
export const timesWithReportText = (time: string, reportAgo: string) => `From ${time}. Last report ${reportAgo}.`;
export const unknownText = (name: string) => `Unknown reading in the report: ${name}.`;
export const unknownSuggestionText = (name: string, suggestion: string) =>
  `Unknown reading in the report: ${name}. Did you mean ${suggestion}?`;

export const names = {
  hopperGrams: "Scale under the hopper",
  airCelsius: "Air",
  insideCelsius: "Inside the box",
  lidCelsius: "Lid",
  humidityPercent: "Humidity",
  supplyVolts: "Supply voltage",
  batteryVolts: "Battery voltage",
  batteryCelsius: "Battery temperature",
  chargeMilliamps: "Charging current",
  signalDbm: "Radio signal",
  spooled: "Events not sent yet",
} as const;

export const celsiusText = (value: string) => `${value} °C`;
export const percentText = (value: string) => `${value} %`;
export const voltsText = (value: string) => `${value} V`;
export const milliampsText = (value: string) => `${value} mA`;
export const decibelMilliwattsText = (value: string) => `${value} dBm`;

export const lostEventsName = "Lost events";
export const numberGapsName = "Gaps in event numbers";
export const numberGapsText = (count: string) => `${count} (number of lost events not known)`;
export const portionName = "Portion weight (estimate)";
