export const blindSpots = {
  unknownSensors: "Sensors not entered. Only those that have reported are used.",
  noScale: "Without a scale, food that is left is counted from portions and from the refills you enter.",
  noScaleBlindChute: "Without a scale, a blind chute sensor looks like a jam.",
  noChuteSlow: "Without a chute sensor it takes the scale some portions to notice that nothing falls.",
  noChuteStuckScale: "Without a chute sensor, a stuck scale looks like a jam.",
  noScaleNoChute:
    "Without a scale or chute sensor, Pieward can't detect whether food falls. A jam is not detected while the motor turns.",
  noBirdSensor: "Without a button, a metal detector or a perch, visits are not detected.",
  noDetector: "Without a metal detector, deposits without a portion are not detected.",
  oneBirdSensor: (sensor: string) =>
    `Only the ${sensor} detects birds. When it gives no signal, a dead sensor looks like birds that stay away for a long time.`,
  noPerch: "Without a perch, visits without a press or deposit are not counted.",
  noPlace:
    "Until the yard has a place, its night and day are unknown: a quiet night counts like a quiet morning, and a silent sensor is noticed later.",
  noFrostReadings:
    "Its last report has no humidity with a box or lid temperature. Frost is detected late or not at all.",
  noBatteryReadings: "Its last report has no battery voltage with a temperature. A freezing battery is not detected.",
  noChargingReadings: "Its last report has no charging current with a temperature. Charging in frost is not detected.",
};
