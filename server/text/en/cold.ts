export const cold = {
  temperatureOf: { battery: "temperature of the battery", box: "temperature of the box" },

  caking: {
    reason: (cycles: number) =>
      `The food has frozen and thawed ${cycles} times since the last refill: it may cake and then bridge or jam.`,
    dampReason: (cycles: number) =>
      `The food has frozen and thawed ${cycles} times since the last refill, and the box was damp in between: it may cake and then bridge or jam.`,
    cyclesLabel: "times the box froze and thawed",
    dampHoursLabel: "hours thawed and damp",
  },

  capacity: {
    twoThirdsAtMost: "In this cold the battery gives less than two thirds of its capacity.",
    twoThirds: "In this cold the battery gives about two thirds of its capacity.",
    threeQuarters: "In this cold the battery gives about three quarters of its capacity.",
    fourFifths: "In this cold the battery gives about four fifths of its capacity.",
    tooColdForKind: (temperature: string) => `Its kind of battery should not be used below ${temperature}.`,
    weakLithium: "In this cold a lithium battery gives little.",
  },

  charging: {
    reason: {
      battery: (temperature: string) =>
        `Current flows into the lithium battery while the battery is at ${temperature}.`,
      box: (temperature: string) =>
        `Current flows into the lithium battery while the box with the battery is at ${temperature}.`,
    },
    earlierReason: {
      battery: (temperature: string, span: string) =>
        `Current flowed into the lithium battery while the battery was at ${temperature}, ${span} ago. The current has not been reported since.`,
      box: (temperature: string, span: string) =>
        `Current flowed into the lithium battery while the box with the battery was at ${temperature}, ${span} ago. The current has not been reported since.`,
    },
    currentLabel: "current into the battery",
  },

  freezingBattery: {
    reason: {
      battery: (temperature: string, voltage: string, freezingPoint: string) =>
        `The battery is at ${temperature}. At ${voltage} it is discharged so far that it may freeze at about ${freezingPoint}.`,
      box: (temperature: string, voltage: string, freezingPoint: string) =>
        `The box with the battery is at ${temperature}. At ${voltage} it is discharged so far that it may freeze at about ${freezingPoint}.`,
    },
    voltageLabel: "lowest voltage of the last day",
    chargeLabel: "charge",
    charge: (low: number, high: number) => `${low} to ${high} %`,
    freezingPointLabel: "may freeze at about",
    capacityLabel: "capacity left by the cold",
    capacity: (share: string) => `${share} or less`,
  },

  frost: {
    place: { lid: "lid", inside: "inside of the box" },
    growing: (place: string, temperature: string, frostPoint: string) =>
      `The ${place} is at ${temperature}, and the air is so damp that frost forms on surfaces below ${frostPoint}.`,
    growingByEstimate: (temperature: string, frostPoint: string) =>
      `A clear, damp night: the lid is estimated at ${temperature} or colder, without a thermometer on it, and frost may form on surfaces below ${frostPoint}.`,
    remaining: (place: string, temperature: string) =>
      `Frost grew on the ${place} and hasn't thawed since: it is at ${temperature} now.`,
    frozenWater: {
      dew: (place: string, temperature: string) =>
        `The ${place} was wet with dew and is now at ${temperature}: expect ice on tray and slot.`,
      saturatedAir: (place: string, temperature: string) =>
        `The ${place} was wet from rain, wet snow or fog and is now at ${temperature}: expect ice on tray and slot.`,
      thaw: (place: string, temperature: string) =>
        `The ${place} had ice that thawed and never dried, and is now at ${temperature}: expect ice on tray and slot.`,
    },
    frozenWaterByEstimate: {
      dew: (temperature: string) =>
        `The lid was likely wet with dew and is estimated at ${temperature} now, without a thermometer on it: there may be ice on tray and slot.`,
      saturatedAir: (temperature: string) =>
        `The lid was wet from rain, wet snow or fog and is estimated at ${temperature} now, without a thermometer on it: there may be ice on tray and slot.`,
      thaw: (temperature: string) =>
        `The lid likely had ice that thawed and never dried, and is estimated at ${temperature} now, without a thermometer on it: there may be ice on tray and slot.`,
    },
    wetEvidence: { dew: "dew on it", saturatedAir: "very humid air for an hour", thaw: "its ice thawed" },
    temperatureLabel: (place: string) => `temperature of the ${place}`,
    estimatedTemperatureLabel: (place: string) => `estimated temperature of the ${place}`,
    clearSkyLabel: "a lid under a clear night sky",
    clearSky: (coolingMin: number, coolingMax: number) => `${coolingMin} to ${coolingMax} °C below the air`,
    frostPointLabel: "frost point of the air",
    lastWetLabel: "last seen wet",
    cyclesLabel: "times it froze and thawed so far",
  },

  weakSupply: {
    reason: (sagCount: number, runCount: number, minimum: string, lowest: string) =>
      `In ${sagCount} of the last ${runCount} runs of the motor the supply fell below ${minimum}, at worst to ${lowest}.`,
    lowestLabel: "lowest while the motor ran",
    minimumLabel: "minimum voltage",
    runsLabel: "motor runs with low voltage",
    runs: (sagCount: number, runCount: number) => `${sagCount} of ${runCount}`,
    usualLabel: "usual supply",
    temperatureLabel: "temperature at the battery",
  },

  detectorDrift: {
    bySignals: (temperature: string, missing: number, deposits: number) =>
      `At ${temperature} the detector detects caps only weakly: it may be missing about ${missing} of the ${deposits} deposits of the last days.`,
    sinceFreezing: (missing: number, deposits: number) =>
      `Since it froze the detector misses more of what falls through the slot: it may be missing about ${missing} of the ${deposits} deposits of the last days.`,
    temperatureLabel: "temperature at the detector",
    notMetalLabel: "through the slot, not metal, last days",
  },
};
