export const nameLabel = "Name";
export const nameHint = "Keep it short. It is part of every message.";
export const capacityLabel = "Hopper capacity";
export const capacityHint = "Weigh the food of one full hopper.";
export const gramsUnit = "g";

export const sensorsLegend = "Sensors";
export const sensorsHint =
  "Tick the sensors that are installed and work. Thermometers, battery and motor current are detected automatically.";
export const sensors = {
  button: { label: "Button", hint: "Birds press it. Without it, presses are not counted." },
  detector: { label: "Metal detector", hint: "Detects metal caps. Without it, deposits are not counted." },
  chute: {
    label: "Chute sensor",
    hint: "Detects falling food. Without it, a jam is found only by a scale, and later.",
  },
  perch: { label: "Perch sensor", hint: "Detects a bird that lands." },
  scale: {
    label: "Scale",
    hint: "A load cell under the hopper. Without it, the food level is calculated from portions and refills.",
  },
} as const;

export const batteryLegend = "Battery";
export const batteryHint = "Needed for cold-weather warnings.";
export const batteryMissingHint = "Needed for cold-weather warnings. Not entered yet.";
export const batteries = {
  none: { label: "No battery: it runs from a power supply", hint: "" },
  leadAcid: {
    label: "Lead-acid",
    hint: "Flooded, gel or AGM. It can freeze when discharged. You get a warning before that.",
  },
  lithiumIronPhosphate: {
    label: "Lithium iron phosphate",
    hint: "Marked LiFePO₄. You get a warning if it is charged below 0 °C.",
  },
  lithiumIon: {
    label: "Lithium-ion",
    hint: "Most power banks and round cells. You get a warning if it is charged below 0 °C.",
  },
} as const;

export const placementLegend = "Where is it now?";
export const placements = {
  inGarden: { label: "In use", hint: "Normal use. All alarms are sent." },
  onBench: {
    label: "In the workshop",
    hint: "For building and tests. No alarms, except when a pause is not confirmed. Everything is recorded.",
  },
  putAway: { label: "In storage", hint: "Alarms only for its battery and when a pause is not confirmed." },
} as const;

export const alarmsLegend = "Alarms";
export const intervalLabel = "Report interval";
export const intervalHint = "As set in the feeder's program, usually 60.";
export const secondsUnit = "seconds";
export const foodWarningLabel = "Food warning";
export const foodWarningHint =
  "You get an alarm this long before the food may run out. The daily digest asks 1.5 days earlier.";
export const daysUnit = "days";
