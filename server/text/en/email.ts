export const email = {
  feeder: (name: string) => `Feeder: ${name}.`,
  yard: (name: string) => `Yard: ${name}.`,
  footer: (yard: string) =>
    `You get this e-mail because you are a recipient of ${yard}. You can remove your address in Pieward.`,
  unknownYard: "a yard",
  openAndAcknowledge: "Open and acknowledge",
  open: "Open",
  caution: "Caution:",
  cautions: {
    movingParts:
      "switch off and unplug before you open it: a motor that is stuck can start again, and a pause doesn't make it safe to touch.",
    electricity: "mains and outdoor wiring are work for a qualified electrician. Unplug before you check wires.",
    charging: "never charge lithium cells below 0 °C, nor a frozen, swollen or leaking battery of any kind.",
    frozenBattery:
      "never charge a frozen, swollen or leaking battery; let it thaw indoors, away from anything that can burn.",
  },
};
