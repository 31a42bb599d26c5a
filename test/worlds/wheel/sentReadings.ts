/** The readings of one report, filled by each part in turn: always in the same order, which keeps a year of reports quick. */
export interface SentReadings {
  hopperGrams?: number | null;
  airCelsius?: number;
  insideCelsius?: number;
  lidCelsius?: number;
  humidityPercent?: number;
  supplyVolts?: number;
  batteryVolts?: number;
  batteryCelsius?: number;
  chargeMilliamps?: number;
  signalDbm?: number;
  spooled?: number;
  counts?: { button?: number; detector?: number; chute?: number; perch?: number };
  paused?: boolean;
}
